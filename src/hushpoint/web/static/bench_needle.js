// The needle: the pulse's bounce on the falling line, and the pointer's lag (as hushpoint.arm.needle).

import { joined } from "./bench_rule.js";

/**
 * @typedef {{lag_s: number, artery: number[], cuff_ml: number, ambient_mmhg: number, above: number[]}} Needle
 */

/** Time constant of the pulse's decay after its peak [s] (as hushpoint.arm.needle). */
const RUN_OFF_S = 0.45;
const PLACES = 41;

/**
 * Volume of the artery under the cuff [mL] at a transmural pressure (Babbs 2012's form).
 * @param {number} transmural_mmhg
 * @param {Needle} needle
 */
export function arteryMl(transmural_mmhg, needle) {
  const [a, b, rest] = needle.artery;
  if (transmural_mmhg < 0) return rest * Math.exp(a * transmural_mmhg);
  return rest * (1 + (a / b) * (1 - Math.exp(-b * transmural_mmhg)));
}

/**
 * Bounce peak to peak [mmHg] of a beat at a cuff pressure.
 * @param {number} cuff_mmhg
 * @param {number} systolic_mmhg
 * @param {number} diastolic_mmhg
 * @param {Needle} needle
 */
export function bounceMmhg(cuff_mmhg, systolic_mmhg, diastolic_mmhg, needle) {
  /** @param {number} at */
  const own = (at) =>
    ((arteryMl(systolic_mmhg - at, needle) - arteryMl(diastolic_mmhg - at, needle)) *
      (needle.ambient_mmhg + at)) /
    needle.cuff_ml;
  if (cuff_mmhg <= systolic_mmhg) return own(cuff_mmhg);
  let peak = 0;
  for (let n = 0; n < PLACES; n += 1) {
    peak = Math.max(peak, own(diastolic_mmhg + (n / (PLACES - 1)) * (systolic_mmhg - diastolic_mmhg)));
  }
  const [share, fade] = needle.above;
  return Math.max(own(cuff_mmhg), share * Math.exp(-(cuff_mmhg - systolic_mmhg) / fade) * peak);
}

/**
 * The pulse wave: 0 at the foot, 1 at its peak, then a smooth decay.
 * @param {number} sinceFoot_s
 * @param {number} upstroke_s
 */
export function pulseShape(sinceFoot_s, upstroke_s) {
  if (sinceFoot_s < 0) return 0;
  const up = 0.5 - 0.5 * Math.cos(Math.PI * Math.min(1, sinceFoot_s / upstroke_s));
  return up * Math.exp(-(Math.max(sinceFoot_s - upstroke_s, 0) ** 1.5) / RUN_OFF_S);
}

/**
 * Where the pointer goes: the pointer follows its target with a lag; exact for a target held over the step.
 * @param {number} pointer_mmhg
 * @param {number} target_mmhg
 * @param {number} d_s
 * @param {number} lag_s
 */
export function followed(pointer_mmhg, target_mmhg, d_s, lag_s) {
  return target_mmhg + (pointer_mmhg - target_mmhg) * Math.exp(-d_s / lag_s);
}

/** Full sweep of the face: 0 to 300 over 320 degrees, 150 on top. */
const SWEEP_DEG = 320;
const FULL_MMHG = 300;

/**
 * Angle of the pointer on the face [degrees clockwise from the top].
 * @param {number} mmhg
 */
export function dialAngle(mmhg) {
  return joined(mmhg, [-20, FULL_MMHG + 20], [-SWEEP_DEG / 2 - 21.33, SWEEP_DEG / 2 + 21.33]);
}

/**
 * Smooths the audio clock, which wanders some 10 ms against performance.now, into a steady one for the picture.
 * Returns a function of (audio time [s], page time [s]) giving the smoothed audio time [s].
 */
export function steadyClock() {
  /** @type {number | null} */
  let offset = null;
  return (/** @type {number} */ audio_s, /** @type {number} */ page_s) => {
    const now = audio_s - page_s;
    // a jump (a stall, a paused context) is taken over at once, wandering is averaged out
    if (offset === null || Math.abs(now - offset) > 0.05) offset = now;
    else offset += (now - offset) * 0.05;
    return page_s + offset;
  };
}
