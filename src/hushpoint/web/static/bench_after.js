// After writing: the reading sent, its judgement shown, another measurement begun, a correction written.

import { ask, byId, inputById } from "./bench_dom.js";
import { showJudgement } from "./bench_judged.js";
import { bothNumbers } from "./bench_numbers.js";
import { Outbox } from "./bench_outbox.js";
import { begin, sendSetUp } from "./bench_set_up.js";
import { act, banner, show } from "./bench_stage.js";
import { now } from "./bench_state.js";

const JUDGEMENT_EVERY_MS = 250;

/** The measurement whose judgement is shown. */
let judged = "";

export const outbox = new Outbox(localStorage, (path, body) => ask("POST", path, body), {
  waiting: () => banner("Connection lost. Your reading waits here; it will be sent once."),
  stored: (measurement) => {
    banner("");
    if (["sending", "begin"].includes(byId("bench").dataset.stage ?? "")) void readJudgement(measurement);
  },
  refused: (_measurement, why) => {
    banner(`Not filed: ${why}`);
    if (byId("bench").dataset.stage === "sending") show("begin");
  },
});

/** @param {string} measurement */
export async function readJudgement(measurement) {
  show("sending");
  byId("sending-words").textContent = "Your reading is stored. It is being graded.";
  history.replaceState(null, "", `#${measurement}`);
  for (let wait_ms = JUDGEMENT_EVERY_MS; ; wait_ms = Math.min(wait_ms * 1.5, 5000)) {
    try {
      const { status, data } = await ask("GET", `/practise/measurements/${measurement}/judgement`);
      if (status === 200) return showJudged(measurement, data);
      if (status >= 400 && status < 500) {
        banner(data.error ?? "This reading cannot be shown.");
        return show("begin");
      }
    } catch {
      byId("sending-words").textContent = "Your reading is stored. Waiting for the connection to show its judgement.";
    }
    await new Promise((done) => setTimeout(done, wait_ms));
  }
}

/**
 * @param {string} measurement
 * @param {import("./bench_picture.js").Judgement} judgement
 */
function showJudged(measurement, judgement) {
  judged = measurement;
  show("judged"); // shown first: the picture is drawn as wide as its place
  showJudgement(byId("judgement"), judgement);
  const wait = now.begun?.policy.wait_between_s ?? 60;
  byId("wait-between").textContent = `On the same arm, wait ${wait} s between two measurements.`;
  byId("next-act").focus();
}

export async function sameSetUp() {
  const kept = JSON.parse(sessionStorage.getItem("hushpoint.choices") ?? "null");
  const known = kept && kept.measurement === judged;
  if (!(await begin(known ? kept.guided : false, judged))) return;
  if (!known) return show("case");
  now.choices = kept.choices;
  await sendSetUp();
}

/** @param {SubmitEvent} event */
export async function correct(event) {
  event.preventDefault();
  const both = bothNumbers("c-", "correction-missing");
  if (!both) return;
  const why = inputById("c-why").value.trim();
  if (!why) {
    byId("correction-missing").textContent = "Why: write a reason.";
    byId("c-why").focus();
    return;
  }
  const body = { reading: { ...both, muffling: null }, why };
  const answer = await act(`/practise/measurements/${judged}/correction`, body);
  if (answer) byId("correction-missing").textContent = "Corrected. The first reading stays beside it.";
}
