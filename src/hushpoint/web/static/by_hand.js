// The calculation behind each verdict on the page, folded: lines that can be done again by hand, and their source. The
// server worked them out where the verdict was made; by_hand.html shows the same on pages without a script.

import { el } from "./bench_dom.js";

/** @typedef {{ what: string, steps: string[], source: string }} Worked */

/** @param {Worked[]} workings */
export function byHand(workings) {
  return el("details", { class: "by-hand" }, el("summary", {}, "By hand: reason, source and calculation"), ...workings.flatMap(one));
}

/** @param {Worked} worked */
function one({ what, steps, source }) {
  return [el("p", {}, el("b", {}, what)), el("ol", {}, ...steps.map((step) => el("li", {}, sentence(step)))), el("p", { class: "soft" }, `Source: ${source}.`)];
}

/** @param {string} text */
function sentence(text) {
  return `${text[0]?.toUpperCase() ?? ""}${text.slice(1)}`;
}
