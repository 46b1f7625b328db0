// An emergency fills the screen: stop, who to call, stay; no pressure, no menu. Leaving takes a hold.

import { byId } from "./bench_dom.js";
import { gravest } from "./visit_next.js";

/** @typedef {import("./visit_link.js").State} State */

const URGENT = [...document.querySelectorAll("[data-urgent]")].map((one) => one.getAttribute("data-urgent"));
const HOLD_MS = 2000;
let left = false;
/** @type {import("./visit_link.js").Link | null} */
let linked = null;

/**
 * Emergency symptoms at any time, the policy's own word, or a reading above its gravest limit beside any symptom.
 * @param {State} state
 */
export function emergencyHere(state) {
  const symptoms = /** @type {string[]} */ (state.answers.symptoms ?? []);
  if (state.judged.action.verdict === "emergency") return true;
  if (symptoms.some((code) => URGENT.includes(code))) return true;
  return symptoms.length > 0 && state.readings.some((one) => gravest(state.policy, one));
}

/**
 * @param {State} state
 * @param {import("./visit_link.js").Link} link
 */
export function showEmergency(state, link) {
  linked = link;
  const called = state.marks.called_at;
  byId("called").textContent = called ? `Called at ${clock(called)}` : "Called now";
  const box = byId("emergency");
  if (left || !box.hidden) return;
  box.hidden = false;
  box.focus();
  byId("spoken").textContent = byId("emergency-words").textContent ?? "";
}

/** @param {string} at */
function clock(at) {
  return new Date(at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
}

byId("called").addEventListener("click", () => {
  if (linked && !linked.now()?.marks.called_at) linked.act({ told: { called_at: new Date(linked.now_ms()).toISOString() } });
});

/** @type {ReturnType<typeof setTimeout> | undefined} */
let held;
const leave = byId("leave-emergency");

function hold() {
  clearTimeout(held);
  held = setTimeout(() => {
    left = true;
    byId("emergency").hidden = true;
  }, HOLD_MS);
}

leave.addEventListener("pointerdown", hold);
leave.addEventListener("keydown", (event) => {
  if ((event.key === "Enter" || event.key === " ") && !event.repeat) hold();
});
for (const kind of ["pointerup", "pointerleave", "pointercancel", "keyup", "blur"]) leave.addEventListener(kind, () => clearTimeout(held));
