// What is known of the measurement in hand, its clock, and what it does at the moment.

import { CuffRun } from "./bench_run.js";
import { latencyOf } from "./device.js";

/**
 * @typedef {import("./bench_sound.js").ArmTable} ArmTable
 * @typedef {import("./bench_sound.js").BeatSounds} BeatSounds
 * @typedef {import("./bench_pad.js").Input} Input
 * @typedef {{id: string, asks: string, choices: {id: string, words: string}[]}} Row
 * @typedef {{measurement: string, case: {number: number, line: string}, guided: boolean, rows: Row[],
 *   set?: {set: number, place: number, of: number, feedback: "now" | "later"} | null,
 *   policy: {name: string, inflation: string, inflation_mmhg: number, release_mmhg_per_s: number[],
 *   palpation_asked: boolean, wait_after_palpation_s: number, wait_between_s: number}}} Begun
 * @typedef {{from_s: number, seconds: number, count: number, regular: boolean}} Pulse
 * @typedef {"pulse" | "feel" | "listen" | "write" | "off"} Doing
 */

/** The cuff is empty below this pressure, once it has been above the lowest peak that counts [mmHg]. */
export const EMPTY_MMHG = 2;
export const LOWEST_PEAK_MMHG = 40;

const NO_CUFF = { step_s: 1, compliance_ml: [1, 1, 1], squeeze_ml: [0, 0, 0], tau_s: [1, 1], dead_band: 0, hand_lag_s: 1, sag: [] };

export const now = {
  /** @type {AudioContext | null} */
  context: null,
  /** @type {Begun | null} */
  begun: null,
  /** @type {Record<string, string>} the set-up as chosen */
  choices: {},
  /** @type {ArmTable | null} */
  table: null,
  /** @type {BeatSounds | null} */
  sounds: null,
  run: new CuffRun(NO_CUFF),
  /** @type {Doing} */
  doing: /** @type {Doing} */ ("off"),
  /** @type {Pulse | null} */
  pulse: null,
  /** @type {number | null} */
  palpated: null,
  /** The context's time at clock 0. */
  zero_s: 0,
  /** Highest pressure of this inflation. */
  peak_mmhg: 0,
  /** When the cuff was last emptied, by the device's clock. */
  emptySince_ms: 0,
  /** Whether the needle was spoken. */
  spoken: false,
  /** When the measurement before on the same person was stored [ms of the device's clock]; null for a first one. */
  storedBefore_ms: /** @type {number | null} */ (null),
  /** How long the learner waited between that and the first squeeze [s]. */
  waited_s: /** @type {number | null} */ (null),
  /** Whether this is a further measurement on the same person. */
  repeated: false,
  /** @type {Record<Input, number>} moves of bulb and valve by each means */
  inputs: { mouse: 0, touch: 0, keyboard: 0 },
};

/** Clock of the measurement [s]. */
export function clock() {
  return now.context ? now.context.currentTime - now.zero_s : 0;
}

/** How long the sound takes from the context to the ear [s]; it changes, so it is asked each time. */
export function latency() {
  return now.context ? latencyOf(now.context) : 0;
}

/** The audio context is made and woken in a click only. */
export async function wakeSound() {
  now.context ??= new AudioContext({ latencyHint: "interactive" });
  const session = /** @type {{audioSession?: {type: string}}} */ (/** @type {unknown} */ (navigator)).audioSession;
  if (session) session.type = "playback"; // else the silent switch of a phone mutes it
  await now.context.resume();
  return now.context;
}

/** Cuff pressure at a clock time [mmHg]. */
export const pressureAt = (/** @type {number} */ at_s) => now.run.pressureAt(at_s);

/** Let go of the measurement: no more steps, no more sounds. */
export function stop() {
  now.doing = "off";
  now.sounds?.silence();
}
