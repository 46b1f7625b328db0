// What the policy says at the end: value, category, action with its reasons, how sure; nothing of it while the server has
// not read everything.

import { byId, el, svg } from "./bench_dom.js";
import { byHand } from "./by_hand.js";
import { besideKpa } from "./units.js";

/** @typedef {import("./visit_link.js").State} State */

/**
 * @param {State} state
 * @param {boolean} fresh
 */
export function showResult(state, fresh) {
  const body = byId("result-body");
  if (!fresh) {
    body.replaceChildren(el("p", { class: "withheld" }, "withheld"), el("p", {}, "The verdict waits until the server has everything. Nothing is lost."));
    byId("standing").hidden = true;
    return;
  }
  const { value, category, also, action, cautions, usual, worked } = state.judged;
  const parts = [el("div", { class: `verdict verdict-${action.verdict}` }, el("b", {}, word(action.verdict)), `${action.when}${action.to ? `, to ${action.to}` : ""}`,
    el("ul", {}, ...action.reasons.map((/** @type {string} */ reason) => el("li", {}, reason))))];
  if (value) {
    parts.push(el("p", {}, el("span", { class: "number-large" }, `${value.systolic}/${value.diastolic}`), ` mmHg${besideKpa([value.systolic, value.diastolic])}`, ` today, resting: ${value.how}. ${word(value.rounding)}.`));
    if (value.doubts.length) parts.push(el("ul", {}, ...value.doubts.map((/** @type {string} */ doubt) => el("li", {}, doubt))));
  }
  if (category) {
    const edge = category.nearest_edge;
    const far = edge ? farFrom(edge) : "";
    parts.push(el("p", {}, `${category.scheme}: ${category.name}${category.form ? `, ${category.form}` : ""}.${far}`));
    parts.push(el("p", { class: "soft" }, `By other guidelines: ${also.map((/** @type {any} */ one) => `${one.scheme} ${one.name}`).join("; ")}.`));
  }
  if (worked.length) parts.push(byHand(worked));
  if (usual) parts.push(sure(usual));
  parts.push(el("div", { class: "caution" }, el("b", {}, "Cautions"), el("ul", {}, ...cautions.map((/** @type {string} */ line) => el("li", {}, line)))));
  body.replaceChildren(...parts);
  const moments = /** @type {number[]} */ (/** @type {any} */ (state.policy).standing_after_s ?? []);
  byId("standing").hidden = !moments.length || state.judged.next.do !== "enough" || state.closed;
  byId("standing-asked").textContent = `This policy has readings after ${moments.map((after) => `${after / 60} min`).join(" and ")} of standing up. Written: ${(state.answers.standing ?? []).map((/** @type {any} */ one) => `${one.systolic}/${one.diastolic} at ${one.after_s / 60} min`).join(", ") || "none yet"}.`;
  const choice = byId("standing-after");
  if (!choice.children.length) choice.append(...moments.map((after) => el("option", { value: after }, `${after / 60} min`)));
}

/** How a value lies to the nearest edge of its band. @param {any} edge */
function farFrom(edge) {
  const apart = Math.abs(Math.round(edge.distance * 10) / 10);
  if (!apart) return ` On the edge, ${edge.at} ${edge.end}.`;
  return edge.distance > 0 ? ` ${apart} mmHg below the nearest edge, ${edge.at} ${edge.end}.` : ` ${apart} mmHg above the nearest edge, ${edge.at} ${edge.end}.`;
}

/** @param {string} words */
function word(words) {
  return `${words[0]?.toUpperCase() ?? ""}${words.slice(1)}`;
}

/** @param {any} usual */
function sure(usual) {
  const rows = ["systolic", "diastolic"].map((end) => {
    const one = usual[end];
    const chances = one.above.map((/** @type {any} */ each) => `above ${each.edge}: ${chance(each.chance)}`).join(", ");
    return el("li", {}, ruler(one), `Usual ${end}: ${Math.round(one.range_90[0])} to ${Math.round(one.range_90[1])} in nine of ten such people; ${chances}. One more reading today changes its spread from ${one.sd.toFixed(1)} to ${one.sd_one_more_reading.toFixed(1)}, a second visit to ${one.sd_second_visit.toFixed(1)}.`);
  });
  const assumed = usual.assumed.map((/** @type {any} */ one) => el("li", {}, `${one.what}: ${one.source} (${one.mark.toLowerCase()})`));
  return el("details", {}, el("summary", {}, "How sure is one visit? Beside the rule, never in its place"), el("ul", {}, ...rows), el("p", {}, "Assumed:"), el("ul", {}, ...assumed));
}

/**
 * A ruler with the range that holds nine of ten, its middle, and the edges of the bands; the words beside it say the same.
 * @param {any} one
 */
function ruler(one) {
  const [low, high] = one.range_90;
  const edges = one.above.map((/** @type {any} */ each) => each.edge);
  const from = Math.min(low, ...edges) - 8;
  const wide = Math.max(high, ...edges) + 8 - from;
  const x = (/** @type {number} */ mmhg) => Math.round((320 * (mmhg - from)) / wide);
  const ticks = edges.flatMap((/** @type {number} */ edge) => [
    svg("line", { x1: x(edge), x2: x(edge), y1: 4, y2: 30, class: "edge" }),
    svg("text", { x: x(edge), y: 44, "text-anchor": "middle" }, String(edge)),
  ]);
  return svg("svg", { viewBox: "0 0 320 48", class: "usual", "aria-hidden": "true" },
    svg("line", { x1: 0, x2: 320, y1: 30, y2: 30, class: "edge" }), ...ticks,
    svg("rect", { x: x(low), y: 12, width: x(high) - x(low), height: 12, class: "range" }),
    svg("line", { x1: x(one.middle), x2: x(one.middle), y1: 8, y2: 28, class: "middle" }));
}

/** @param {number} share */
function chance(share) {
  return share < 0.01 ? "under 1 %" : share > 0.99 ? "over 99 %" : `${Math.round(100 * share)} %`;
}
