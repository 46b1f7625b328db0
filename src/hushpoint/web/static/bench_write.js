// Writing what was heard.

import { outbox } from "./bench_after.js";
import { byId, inputById } from "./bench_dom.js";
import { bothNumbers, setNotHeard } from "./bench_numbers.js";
import { say, show, whole } from "./bench_stage.js";
import { now, stop } from "./bench_state.js";
import { setting } from "./bench_store.js";

/**
 * @typedef {import("./bench_pad.js").Input} Input
 */

/** @param {boolean} kept the numbers stand as written though diastolic is above systolic */
export function writeReading(kept) {
  const both = bothNumbers("", "reading-missing");
  if (!both) return;
  const muffling = inputById("muffling").value.trim();
  if (muffling && whole(muffling) === null) {
    byId("reading-missing").textContent = "muffled at: a whole number from 0 to 300, or nothing.";
    return;
  }
  const crossed = both.systolic !== null && both.diastolic !== null && both.diastolic > both.systolic;
  byId("swap-choice").hidden = !crossed || kept;
  if (crossed && !kept) {
    byId("reading-missing").textContent = "Diastolic is above systolic. Swap, or keep as written?";
    byId("swap").focus();
    return;
  }
  file({ ...both, muffling: muffling ? whole(muffling) : null });
}

/** @param {{systolic: number | null, diastolic: number | null, muffling: number | null}} reading */
function file(reading) {
  if (!now.begun) return;
  stop();
  const most = /** @type {Input[]} */ (["mouse", "touch", "keyboard"]).reduce((a, b) => (now.inputs[b] > now.inputs[a] ? b : a));
  const log = {
    ...now.run.samples(),
    events: now.run.acts,
    pulse: now.pulse,
    palpated_mmhg: now.palpated,
    waited_s: now.waited_s,
    reading,
    guided: now.begun.guided,
    visible_pulse: inputById("show-sounds").checked,
    needle_spoken: now.spoken,
    input: most,
  };
  if (now.begun.guided) setting("guided", String(Number(setting("guided")) + 1));
  for (const name of ["systolic", "diastolic"]) {
    setNotHeard(name, false);
    inputById(name).value = "";
  }
  inputById("muffling").value = "";
  show("sending");
  say("Written.");
  void outbox.add(now.begun.measurement, log);
}
