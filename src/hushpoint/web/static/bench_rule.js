// The audibility rule of docs/bench-format.md: what is heard of one beat at the pressure the cuff has then.
// tests/vectors/audibility.json is run by this file and by hushpoint.arm alike.

/**
 * @typedef {{foot_s: number[], systolic_mmhg: number[], diastolic_mmhg: number[], level_db: number[]}} Beats
 * @typedef {{beats: Beats, profile: {place: number[], level_db: number[]}, phase_edges: number[],
 *   gap_place: number[] | null, to_zero: boolean, upstroke_s: number, delay_s: number, floor_db: number,
 *   noise_db: number}} RuleTable
 * @typedef {"I" | "II" | "III" | "IV"} Phase
 * @typedef {{index: number, at_s: number, mmhg: number, place: number, level_db: number, audible: boolean,
 *   phase: Phase}} BeatHeard
 */

/** Taken off inside a silent gap [dB]: no arm is loud enough to be heard through it. */
export const GAP_DB = 60;
/** Sounds that go on to zero end at this pressure [mmHg]. */
export const TO_ZERO_LOWEST_MMHG = 2;
/** @type {Phase[]} */
const PHASES = ["IV", "III", "II", "I"];

/**
 * Straight lines between points, level beyond their ends.
 * @param {number} at
 * @param {readonly number[]} places ascending
 * @param {readonly number[]} values
 */
export function joined(at, places, values) {
  const last = places.length - 1;
  if (at <= places[0]) return values[0];
  if (at >= places[last]) return values[last];
  let low = 0;
  let high = last;
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    if (places[middle] <= at) low = middle;
    else high = middle;
  }
  const share = (at - places[low]) / (places[high] - places[low]);
  return values[low] + share * (values[high] - values[low]);
}

/**
 * One beat judged against the falling line without bounce.
 * @param {RuleTable} table
 * @param {number} index which beat
 * @param {(at_s: number) => number} pressureAt cuff pressure [mmHg] at a time [s]
 * @returns {BeatHeard}
 */
export function hearBeat(table, index, pressureAt) {
  const foot = table.beats.foot_s[index];
  const systolic = table.beats.systolic_mmhg[index];
  const diastolic = table.beats.diastolic_mmhg[index];
  const atFoot = (pressureAt(foot) - diastolic) / (systolic - diastolic);
  const held = Math.min(1, Math.max(0, atFoot));
  const at_s = foot + (table.upstroke_s / Math.PI) * Math.acos(1 - 2 * held) + table.delay_s;
  const mmhg = pressureAt(at_s);
  const place = (mmhg - diastolic) / (systolic - diastolic);
  let level_db = table.beats.level_db[index] + joined(place, table.profile.place, table.profile.level_db);
  const gap = table.gap_place;
  if (gap && gap[0] <= place && place <= gap[1]) level_db -= GAP_DB;
  const within = place >= 0 && place <= 1;
  const below = table.to_zero && place < 0 && mmhg > TO_ZERO_LOWEST_MMHG;
  const audible = (within || below) && level_db > Math.max(table.floor_db, table.noise_db);
  const phase = PHASES[table.phase_edges.filter((edge) => edge <= place).length];
  return { index, at_s, mmhg, place, level_db, audible, phase };
}
