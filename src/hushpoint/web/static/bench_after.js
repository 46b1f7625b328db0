// After writing: the reading sent, its judgement shown, another measurement begun, a correction written.

import { ask, byId, inputById } from "./bench_dom.js";
import { showJudgement } from "./bench_judged.js";
import { bothNumbers } from "./bench_numbers.js";
import { Outbox } from "./bench_outbox.js";
import { begin, sendSetUp } from "./bench_set_up.js";
import { act, banner, show, wait } from "./bench_stage.js";
import { now } from "./bench_state.js";
import { lasting, passing } from "./bench_store.js";

const JUDGEMENT_EVERY_MS = 250;
/** The wait between measurements where the page was loaded anew since and the policy is not at hand. */
const ASKED_ELSE_S = 60;

/** The measurement whose judgement is shown. */
let judged = "";

const KEEPS_NOTHING = "This browser keeps nothing; do not close the page until the reading is sent.";

export const outbox = new Outbox(lasting, (path, body) => ask("POST", path, body), {
  unkept: () => banner(KEEPS_NOTHING),
  waiting: (kept) => banner(`Connection lost. ${kept ? "Your reading waits here; it will be sent once." : KEEPS_NOTHING}`),
  stored: (measurement) => {
    banner("");
    waitFrom(measurement, Date.now());
    if (["sending", "begin"].includes(byId("bench").dataset.stage ?? "")) void readJudgement(measurement);
  },
  refused: (_measurement, why) => {
    banner(`Not filed: ${why}`);
    if (byId("bench").dataset.stage === "sending") show("begin");
  },
});

/** @typedef {{measurement: string, asked_s: number, from_ms: number}} Waited */

/** @returns {Waited} the wait before a further measurement on the same person */
function waitKept() {
  return JSON.parse(passing("wait") || '{"measurement": "", "asked_s": 0, "from_ms": 0}');
}

/**
 * The next measurement on this person is asked to wait, counted from when this one was stored, as the judgement does.
 * @param {string} measurement
 * @param {number} from_ms
 */
function waitFrom(measurement, from_ms) {
  const asked_s = now.begun?.measurement === measurement ? now.begun.policy.wait_between_s : ASKED_ELSE_S;
  passing("wait", JSON.stringify({ measurement, asked_s, from_ms }));
}

/** @param {string} measurement */
export async function readJudgement(measurement) {
  show("sending");
  byId("sending-words").textContent = "Your reading is stored. It is being graded.";
  history.replaceState(null, "", `#${measurement}`);
  for (let wait_ms = JUDGEMENT_EVERY_MS; ; wait_ms = Math.min(wait_ms * 1.5, 5000)) {
    try {
      const { status, data } = await ask("GET", `/practise/measurements/${measurement}/judgement`);
      if (status === 200) return showJudged(measurement, data);
      if (data.held) return showHeld(Number(data.held));
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

/** @param {number} left readings until the set's judgements open */
function showHeld(left) {
  byId("held-words").textContent =
    `Your reading is stored. Its judgement comes with the others, after ${left === 1 ? "one more reading" : `${left} more readings`} of this set.`;
  history.replaceState(null, "", location.pathname);
  show("held");
}

/**
 * @param {string} measurement
 * @param {import("./bench_picture.js").Judgement} judgement
 */
function showJudged(measurement, judgement) {
  judged = measurement;
  byId("next-act").textContent = judgement.next;
  show("judged"); // shown first: the picture is drawn as wide as its place
  showJudgement(byId("judgement"), judgement);
  if (waitKept().measurement === measurement) wait.begin(waitKept().from_ms, waitKept().asked_s);
}

export async function sameSetUp() {
  const kept = JSON.parse(passing("choices") || "null");
  const known = kept && kept.measurement === judged;
  if (!(await begin(known ? kept.guided : false, judged))) return;
  const waited = waitKept();
  if (waited.measurement === judged) now.storedBefore_ms = waited.from_ms;
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
