// The bench: from the practice person met to the judgement read. Stages: begin, case, ready, pulse, hands (feel, then
// listen, then write), sending, judged.

import { correct, outbox, readJudgement, sameSetUp } from "./bench_after.js";
import { byId, inputById } from "./bench_dom.js";
import { frame, needle } from "./bench_drawn.js";
import { beginInflation, hand, toHands } from "./bench_listen.js";
import { notHeard, setNotHeard } from "./bench_numbers.js";
import { readPad } from "./bench_pad.js";
import { countPulse, felt, start, writePulse } from "./bench_pulse.js";
import { begin, countChosen, setUp, trySound } from "./bench_set_up.js";
import { show, wait, whole } from "./bench_stage.js";
import { clock, latency, now, stop } from "./bench_state.js";
import { setting } from "./bench_store.js";
import { writeReading } from "./bench_write.js";

const bench = byId("bench");

async function beginNext() {
  if (await begin(false, null, true)) show("case");
}

for (const [id, guided] of /** @type {[string, boolean][]} */ ([["begin-guided", true], ["begin-unguided", false]])) {
  byId(id).addEventListener("click", async () => (await begin(guided, null)) && show("case"));
}
for (const id of ["begin-next", "go-on"]) {
  byId(id).addEventListener("click", () => void beginNext());
}
byId("set-up").addEventListener("submit", (event) => void setUp(event));
byId("set-up").addEventListener("change", countChosen);
byId("try-sound").addEventListener("click", () => void trySound());
byId("start").addEventListener("click", () => void start());
byId("change-set-up").addEventListener("click", () => show("case"));
for (const button of bench.querySelectorAll("[data-seconds]")) {
  button.addEventListener("click", () => countPulse(Number(button.getAttribute("data-seconds"))));
}
byId("pulse-skip").addEventListener("click", toHands);
byId("pulse-form").addEventListener("submit", writePulse);
byId("felt").addEventListener("submit", (event) => {
  event.preventDefault();
  const value = whole(inputById("palpated").value);
  byId("felt-missing").textContent = value === null ? "A whole number from 0 to 300." : "";
  if (value !== null) felt(value);
});
byId("felt-skip").addEventListener("click", () => felt(null));
byId("reading").addEventListener("submit", (event) => {
  event.preventDefault();
  writeReading(false);
});
byId("swap").addEventListener("click", () => {
  const [one, other] = [inputById("systolic"), inputById("diastolic")];
  [one.value, other.value] = [other.value, one.value];
  writeReading(false);
});
byId("keep").addEventListener("click", () => writeReading(true));
byId("pump-again").addEventListener("click", () => {
  now.doing = "listen";
  wait.begin(now.emptySince_ms, now.begun?.policy.wait_between_s ?? 0);
  beginInflation();
});
for (const id of ["systolic", "diastolic", "c-systolic", "c-diastolic"]) {
  byId(`${id}-not`).addEventListener("click", () => setNotHeard(id, !notHeard(id)));
}
byId("same-set-up").addEventListener("click", () => void sameSetUp());
byId("next-person").addEventListener("click", () => {
  history.replaceState(null, "", location.pathname);
  if (now.begun?.set && now.begun.set.place < now.begun.set.of) return void beginNext();
  show("begin");
});
byId("correction").addEventListener("submit", (event) => void correct(event));
byId("stay").addEventListener("click", () => /** @type {HTMLDialogElement} */ (byId("leave")).close());
byId("go").addEventListener("click", () => {
  stop();
  location.assign("/practise");
});
const leftHand = inputById("left-hand");
leftHand.checked = setting("left-hand") === "yes";
bench.classList.toggle("mirrored", leftHand.checked);
leftHand.addEventListener("change", () => {
  setting("left-hand", leftHand.checked ? "yes" : "no");
  bench.classList.toggle("mirrored", leftHand.checked);
});
window.addEventListener("beforeunload", (event) => {
  if (outbox.unkept) event.preventDefault();
});
document.addEventListener("visibilitychange", () => {
  if (!document.hidden && now.doing !== "off") void now.context?.resume();
});
readPad(hand);
requestAnimationFrame(frame);

if (outbox.waiting().length) {
  show("sending");
  void outbox.sendAll();
} else if (/^#[0-9a-f]{8,}$/.test(location.hash)) {
  void readJudgement(location.hash.slice(1));
} else if (location.hash === "#next") {
  history.replaceState(null, "", location.pathname);
  void beginNext();
}

// Facts for browser tests, to be read only; they tell no more than the arm table does.
Object.assign(window, {
  hushpoint: {
    facts: () => ({
      doing: now.doing,
      clock_s: clock(),
      zero_s: now.zero_s,
      context: now.context,
      latency_s: latency(),
      out: now.sounds?.out,
      planned: [...(now.sounds?.planned.values() ?? [])],
      trace: needle.trace,
      table: now.table,
      run: now.run,
    }),
  },
});
