// Meeting the practice person and setting up.

import { byId, el, newId } from "./bench_dom.js";
import { drawing } from "./bench_drawings.js";
import { BeatSounds } from "./bench_sound.js";
import { act, say, show, wait } from "./bench_stage.js";
import { now, wakeSound } from "./bench_state.js";
import { passing } from "./bench_store.js";
import { PROFILE_WORDS, profile } from "./device.js";

/**
 * @typedef {import("./bench_state.js").ArmTable} ArmTable
 * @typedef {import("./bench_state.js").Begun} Begun
 * @typedef {import("./bench_state.js").Row} Row
 */

/**
 * @param {boolean} guided
 * @param {string | null} again
 * @param {boolean} next whether the server chooses the practice person for this learner
 */
export async function begin(guided, again, next = false) {
  const answer = await act("/practise/measurements", { ref: newId(), guided, again, next });
  if (!answer) return false;
  now.begun = /** @type {Begun} */ ({ guided, ...answer });
  now.repeated = again !== null;
  now.storedBefore_ms = now.waited_s = null;
  if (!now.repeated) wait.end();
  byId("case-line").textContent = now.begun.case.line;
  byId("hands-case-line").textContent = now.begun.case.line;
  byId("case-policy").textContent = policyWords(now.begun);
  const set = now.begun.set;
  byId("case-set").textContent = set
    ? `Reading ${set.place} of ${set.of} today. ${set.feedback === "now" ? "The judgement comes after it." : "The judgement comes later in the set."}`
    : "";
  byId("rows").replaceChildren(...now.begun.rows.map(rowFields));
  countChosen();
  return true;
}

/** How many of the rows have a choice: told beside the button, which stays in sight. */
export function countChosen() {
  const chosen = byId("rows").querySelectorAll("input:checked").length;
  byId("set-up-count").textContent = `${chosen} of ${now.begun?.rows.length ?? 0} chosen`;
}

/** @param {Begun} begun */
function policyWords({ policy }) {
  const [slow, fast] = policy.release_mmhg_per_s;
  const target = {
    palpated: `pump ${policy.inflation_mmhg} above the palpated value`,
    first_sound: `pump ${policy.inflation_mmhg} above the first sound`,
    fixed: `pump to ${policy.inflation_mmhg}`,
  }[policy.inflation];
  return `Asked here (${policy.name}): ${target}, release at ${slow} to ${fast} mmHg/s.`;
}

/** @param {Row} row */
function rowFields(row) {
  return el(
    "fieldset",
    { class: "row", id: `row-${row.id}` },
    el("legend", {}, drawing(row.id), row.asks),
    ...row.choices.map((choice) =>
      el("label", {}, el("input", { type: "radio", name: row.id, value: choice.id }), choice.words),
    ),
  );
}

/** @param {SubmitEvent} event */
export async function setUp(event) {
  event.preventDefault();
  if (!now.begun) return;
  const form = new FormData(/** @type {HTMLFormElement} */ (byId("set-up")));
  const missing = now.begun.rows.filter((row) => !form.get(row.id));
  const note = byId("set-up-missing");
  note.textContent = missing.length ? `Still to choose: ${missing.map((row) => row.asks).join("; ")}.` : "";
  if (missing.length) {
    byId(`row-${missing[0].id}`).scrollIntoView({ block: "center" });
    return;
  }
  now.choices = Object.fromEntries(now.begun.rows.map((row) => [row.id, String(form.get(row.id))]));
  await sendSetUp();
}

export async function sendSetUp() {
  if (!now.begun) return;
  const answer = await act(`/practise/measurements/${now.begun.measurement}/set-up`, { choices: now.choices, profile: profile() });
  if (!answer) return;
  now.table = /** @type {ArmTable} */ (answer);
  passing("choices", JSON.stringify({ measurement: now.begun.measurement, guided: now.begun.guided, choices: now.choices }));
  const advice = now.table.advice ?? [];
  const raised = PROFILE_WORDS[profile()];
  byId("advice").replaceChildren(
    ...(raised ? [el("p", { class: "bench-caution" }, raised)] : []),
    ...advice.map((one) => el("p", { class: "advice" }, one.text, one.source ? el("small", {}, ` ${one.source}`) : "")),
  );
  const words = now.begun.rows.map((row) => row.choices.find((one) => one.id === now.choices[row.id])?.words ?? "");
  byId("hands-set-up").replaceChildren(...words.map((one) => el("li", {}, one)));
  show("ready");
  say(advice.length ? "Set up. There is advice." : "Set up.");
}

export async function trySound() {
  if (!now.table) return;
  new BeatSounds(await wakeSound(), now.table, 0).tryOut("III");
}
