// What is kept of this device: how it is listened with, its level, and how late its sound comes.

import { setting } from "./bench_store.js";

/** @typedef {"headphones" | "phone" | "laptop"} Profile */

/** What each profile must say on the screen. */
export const PROFILE_WORDS = {
  headphones: "",
  phone: "Phone speaker: pitch raised 6 times. Practice only, no sign-off.",
  laptop: "Laptop speaker: pitch raised 4 times. Practice only, no sign-off.",
};

/** @returns {Profile} */
export function profile() {
  const kept = setting("profile");
  return kept === "phone" || kept === "laptop" ? kept : "headphones";
}

/**
 * The level found by the device check with a profile [dB], 0 where none was made.
 * @param {Profile} of
 */
export function level_db(of) {
  const kept = Number(setting(`level-db-${of}`));
  return Number.isFinite(kept) ? Math.min(9, Math.max(-12, kept)) : 0;
}

/** @param {Profile} of whether a device check found a level with this profile */
export function isChecked(of) {
  return setting(`level-db-${of}`) !== "";
}

/** How late the sound comes by the learner's own calibration [s]; null where none was made. */
export function calibrated_s() {
  const kept = setting("delay-ms");
  return kept === "" || !Number.isFinite(Number(kept)) ? null : Number(kept) / 1000;
}

/**
 * How long the sound takes from the context to the ear [s]: as calibrated, else as the browser says.
 * @param {AudioContext} context
 */
export function latencyOf(context) {
  return calibrated_s() ?? (context.outputLatency || context.baseLatency || 0);
}

/** An audio context, made and woken in a click only; a phone's silent switch does not mute it where that can be asked. */
export async function wokenContext() {
  const context = new AudioContext({ latencyHint: "interactive" });
  const session = /** @type {{audioSession?: {type: string}}} */ (/** @type {unknown} */ (navigator)).audioSession;
  if (session) session.type = "playback";
  await context.resume();
  return context;
}
