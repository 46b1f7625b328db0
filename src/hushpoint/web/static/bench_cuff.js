// Cuff, bulb and valve, stepped as hushpoint.arm does (docs/bench-format.md, "Cuff step").
// tests/vectors/cuff.json is run by both.

/**
 * @typedef {{step_s: number, compliance_ml: number[], squeeze_ml: number[], tau_s: number[], dead_band: number,
 *   hand_lag_s: number, sag: number[][]}} Cuff
 * @typedef {{pressure_mmhg: number, valve: number, bulb_ml: number, sag_mmhg: number[]}} CuffState
 */

const ATMOSPHERE_MMHG = 760;
const HIGHEST_MMHG = 300;

/** @returns {CuffState} */
export function emptyCuff() {
  return { pressure_mmhg: 0, valve: 0, bulb_ml: 0, sag_mmhg: [0, 0] };
}

/**
 * The state after one squeeze: its air waits in the bulb and flows in over the hand's lag.
 * @param {CuffState} state
 * @param {Cuff} cuff
 * @returns {CuffState}
 */
export function squeezed(state, cuff) {
  const [full, share, ambient] = cuff.squeeze_ml;
  const air = Math.max(0, full - (share * (ambient + state.pressure_mmhg)) / ATMOSPHERE_MMHG);
  return { ...state, bulb_ml: state.bulb_ml + air };
}

/**
 * The state one `step_s` later, with the valve asked for at `hand` (0 shut to 1 open).
 * @param {CuffState} state
 * @param {number} hand
 * @param {Cuff} cuff
 * @returns {CuffState}
 */
export function stepped(state, hand, cuff) {
  const d = cuff.step_s;
  const follow = 1 - Math.exp(-d / cuff.hand_lag_s);
  const valve = state.valve + (hand - state.valve) * follow;
  const out = state.bulb_ml * follow;
  const [c0, c1, c2] = cuff.compliance_ml;
  const rise = out / (c0 + c1 * Math.exp(-state.pressure_mmhg / c2));
  const [shut, wide] = cuff.tau_s;
  const tau = shut * (wide / shut) ** (valve < cuff.dead_band ? 0 : valve);
  let sunk = 0;
  const sag_mmhg = cuff.sag.map(([share, tauSag], which) => {
    const waiting = state.sag_mmhg[which] + share * rise;
    const falls = waiting * (1 - Math.exp(-d / tauSag));
    sunk += falls;
    return waiting - falls;
  });
  const p = Math.max(0, (state.pressure_mmhg + rise) * Math.exp(-d / tau) - sunk);
  return { pressure_mmhg: Math.min(p, HIGHEST_MMHG), valve, bulb_ml: state.bulb_ml - out, sag_mmhg };
}

/**
 * A pressure as the log holds it: to 0.01 mmHg, half up.
 * @param {number} mmhg
 */
export function logged(mmhg) {
  return Math.floor(mmhg * 100 + 0.5) / 100;
}
