// From the start of the clock: the resting pulse counted, and the palpated pressure written.

import { byId, inputById } from "./bench_dom.js";
import { drawAnew } from "./bench_drawn.js";
import { beginInflation, keepTicking, showValve, toHands } from "./bench_listen.js";
import { CuffRun } from "./bench_run.js";
import { BeatSounds } from "./bench_sound.js";
import { show, whole } from "./bench_stage.js";
import { clock, now, wakeSound } from "./bench_state.js";

export async function start() {
  if (!now.table || !now.begun) return;
  const awake = await wakeSound();
  now.zero_s = awake.currentTime;
  now.sounds = new BeatSounds(awake, now.table, now.zero_s);
  now.run = new CuffRun(now.table.cuff);
  now.pulse = now.palpated = null;
  now.spoken = false;
  now.inputs = { mouse: 0, touch: 0, keyboard: 0 };
  drawAnew();
  byId("hands-who").textContent = `Person ${now.begun.case.number} · ${now.begun.guided ? "guided" : "unguided"}`;
  showValve();
  keepTicking();
  if (now.repeated) toHands();
  else toPulse();
}

function toPulse() {
  now.doing = "pulse";
  byId("pulse-choose").hidden = false;
  byId("pulse-form").hidden = true;
  byId("pulse-state").textContent = "";
  show("pulse");
}

/** @param {number} seconds */
export function countPulse(seconds) {
  const from_s = Math.round(clock() * 100) / 100;
  byId("pulse-choose").hidden = true;
  byId("pulse-state").textContent = `Count now, for ${seconds} s.`;
  const watch = setInterval(() => {
    if (now.doing !== "pulse") return clearInterval(watch);
    if (clock() < from_s + seconds) return;
    clearInterval(watch);
    byId("pulse-state").textContent = `${seconds} s are over. Write the beats you counted.`;
    byId("pulse-form").hidden = false;
    byId("pulse-form").dataset.from = String(from_s);
    byId("pulse-form").dataset.seconds = String(seconds);
    byId("pulse-count").focus();
  }, 50);
}

/** @param {SubmitEvent} event */
export function writePulse(event) {
  event.preventDefault();
  const form = /** @type {HTMLFormElement} */ (byId("pulse-form"));
  const count = whole(inputById("pulse-count").value);
  const regular = new FormData(form).get("regular");
  const missing = count === null ? "Beats: a whole number from 0 to 300." : regular === null ? "Evenly or unevenly?" : "";
  byId("pulse-missing").textContent = missing;
  if (missing || count === null) return;
  now.pulse = { from_s: Number(form.dataset.from), seconds: Number(form.dataset.seconds), count, regular: regular === "yes" };
  form.reset();
  toHands();
}

/** @param {number | null} value */
export function felt(value) {
  now.palpated = value;
  inputById("palpated").value = "";
  now.doing = "listen";
  beginInflation();
}
