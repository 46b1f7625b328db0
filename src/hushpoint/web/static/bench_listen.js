// Bulb and valve in hand: pumping to feel or to listen, releasing, until the cuff is empty and the fields open.

import { byId, inputById } from "./bench_dom.js";
import { needle } from "./bench_drawn.js";
import { banner, say, show, wait } from "./bench_stage.js";
import { EMPTY_MMHG, LOWEST_PEAK_MMHG, clock, now, pressureAt, stop } from "./bench_state.js";
import { setting } from "./bench_store.js";

/**
 * @typedef {import("./bench_pad.js").Input} Input
 */

const TICK_MS = 25;
const LONGEST_S = 590;
/** A longer wait before a further measurement is told as this. */
const LONGEST_WAIT_S = 86400;
const HINTED_READINGS = 3;

/** @type {ReturnType<typeof setInterval> | undefined} */
let ticking;

/** Begin to step the cuff and to plan the sounds. */
export function keepTicking() {
  clearInterval(ticking);
  ticking = setInterval(tick, TICK_MS);
}

function tick() {
  if (now.doing === "off" || !now.sounds) return clearInterval(ticking);
  if (clock() > LONGEST_S) return runOut();
  if (now.doing === "write") return;
  now.run.advance(clock());
  now.sounds.plan(clock(), pressureAt);
  now.peak_mmhg = Math.max(now.peak_mmhg, now.run.now_mmhg);
  if (now.doing !== "pulse") handleCuff();
}

function runOut() {
  stop();
  banner("Ten minutes are over: this measurement is let go, nothing of it is written. Begin another.");
  show("begin");
}

export function toHands() {
  now.peak_mmhg = 0;
  now.doing = now.begun?.policy.palpation_asked ? "feel" : "listen";
  beginInflation();
  show("hands");
}

export function beginInflation() {
  const feel = now.doing === "feel";
  const traced = inputById("show-sounds").checked;
  now.peak_mmhg = 0;
  byId("hands").dataset.write = "closed";
  byId("felt").hidden = true;
  byId("reading").hidden = false;
  byId("reading").inert = true;
  byId("write-when").hidden = false;
  byId("line-name").textContent = feel ? "wrist" : traced ? "sounds" : "";
  byId("line").toggleAttribute("hidden", !feel && !traced);
  byId("hint").textContent = feel ? "Feel the wrist" : "Listen";
  needle.blips = [];
  if (now.sounds) now.sounds.listening = !feel;
  say(feel ? "Feel first. Pump until the wrist line stops." : now.run.hand ? "Ready. Valve open." : "Ready. Valve shut.");
  byId("pad").focus();
}

function handleCuff() {
  const mmhg = now.run.now_mmhg;
  const before = now.run.pressureAt(now.run.now_s - 0.5);
  const full = now.peak_mmhg > LOWEST_PEAK_MMHG;
  const state = mmhg < EMPTY_MMHG ? "ready" : mmhg > before + 0.5 ? "pumping" : now.run.hand >= 0.95 ? "emptying" : mmhg < before - 0.3 ? "releasing" : "holding";
  const word = byId("state");
  if (word.textContent !== state) {
    word.textContent = state;
    if (state === "emptying") say("Cuff emptying.");
  }
  hint(state, mmhg);
  if (full && mmhg < EMPTY_MMHG) emptied();
}

/**
 * @param {string} state
 * @param {number} mmhg
 */
function hint(state, mmhg) {
  if (!now.begun) return;
  const listening = now.doing === "listen";
  let words = listening ? "Listen" : "Feel the wrist";
  if (state === "ready" && wait.left_s > 0) words = `Wait ${wait.left_s} s`;
  if (listening && state === "releasing" && now.begun.guided && Number(setting("guided")) < HINTED_READINGS) {
    const [slow, fast] = now.begun.policy.release_mmhg_per_s;
    const rate = now.run.pressureAt(now.run.now_s - 1) - mmhg;
    words = rate > fast ? "slower" : rate < slow ? "faster" : "steady";
  }
  if (byId("hint").textContent !== words) byId("hint").textContent = words;
}

function emptied() {
  now.emptySince_ms = Date.now();
  byId("hands").dataset.write = "open";
  byId("state").textContent = "writing";
  byId("hint").textContent = "";
  if (now.doing === "feel") {
    now.doing = "write";
    byId("felt").hidden = false;
    byId("reading").hidden = true;
    wait.begin(now.emptySince_ms, now.begun?.policy.wait_after_palpation_s ?? 0);
    byId("palpated").focus();
    say("Cuff empty. Write the pressure at which the wrist line stopped.");
    return;
  }
  now.doing = "write";
  if (now.sounds) now.sounds.listening = false;
  byId("reading").inert = false;
  byId("write-when").hidden = true;
  byId("systolic").focus();
  say("Cuff empty. Write systolic.");
}

export function showValve() {
  const percent = Math.round(now.run.hand * 1000) / 10;
  byId("valve").setAttribute("aria-valuenow", String(percent));
  byId("valve").setAttribute("aria-valuetext", now.run.hand ? `${percent} percent open` : "shut");
  byId("valve-knob").style.top = `${now.run.hand * 100}%`;
}

/**
 * @param {Input} input
 * @param {() => void} move
 */
function moved(input, move) {
  if (now.doing !== "feel" && now.doing !== "listen") return;
  now.inputs[input] += 1;
  now.run.advance(clock());
  move();
  showValve();
  now.sounds?.plan(clock(), pressureAt);
}

function squeeze() {
  if (now.storedBefore_ms !== null && now.waited_s === null) {
    const waited_s = (Date.now() - now.storedBefore_ms) / 1000;
    now.waited_s = Math.round(Math.min(LONGEST_WAIT_S, Math.max(0, waited_s)) * 10) / 10;
  }
  wait.end(); // told, never in the way
  now.run.squeeze();
}

export const hand = {
  squeeze: (/** @type {Input} */ input) => moved(input, squeeze),
  move: (/** @type {number} */ by, /** @type {Input} */ input) => moved(input, () => now.run.turn(now.run.hand + by)),
  shut: (/** @type {Input} */ input) => moved(input, () => now.run.turn(0)),
  openFully: (/** @type {Input} */ input) => moved(input, () => now.run.openFully()),
  speakNeedle: () => {
    now.spoken = true;
    byId("spoken").textContent = `Needle at ${Math.round(needle.mmhg / 2) * 2}.`;
  },
  leave: () => /** @type {HTMLDialogElement} */ (byId("leave")).showModal(),
  active: () => now.doing === "feel" || now.doing === "listen",
};
