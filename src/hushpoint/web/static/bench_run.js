// One measurement under the learner's hands: the cuff stepped on its clock, and the log that is kept of it.

import { emptyCuff, logged, squeezed, stepped } from "./bench_cuff.js";

/**
 * @typedef {import("./bench_cuff.js").Cuff} Cuff
 * @typedef {{at_s: number, do: "squeeze" | "valve" | "open_fully", to?: number}} Act
 */

/** How far ahead the falling line is worked out as the controls stand [s]: longer than any timer stalls. */
export const AHEAD_S = 1.2;

export class CuffRun {
  /** @param {Cuff} cuff */
  constructor(cuff) {
    this.cuff = cuff;
    this.state = emptyCuff();
    /** Valve opening asked for, 0 shut to 1 open. */
    this.hand = 0;
    /** Pressure after every step as the log holds it, the first at clock 0 [mmHg]. */
    this.mmhg = [0];
    /** @type {Act[]} */
    this.acts = [];
    /** @type {number[]} */
    this.ahead = [];
  }

  /** Clock time of the newest step [s]. */
  get now_s() {
    return this.#round((this.mmhg.length - 1) * this.cuff.step_s);
  }

  /** Pressure after the newest step [mmHg]. */
  get now_mmhg() {
    return this.mmhg[this.mmhg.length - 1];
  }

  /**
   * Step on to a clock time, then work out the line ahead.
   * @param {number} clock_s
   */
  advance(clock_s) {
    const steps = Math.floor(clock_s / this.cuff.step_s + 1e-6);
    while (this.mmhg.length <= steps) {
      this.state = stepped(this.state, this.hand, this.cuff);
      this.mmhg.push(logged(this.state.pressure_mmhg));
    }
    this.#lookAhead();
  }

  squeeze() {
    this.acts.push({ at_s: this.now_s, do: "squeeze" });
    this.state = squeezed(this.state, this.cuff);
    this.#lookAhead();
  }

  /** @param {number} to valve opening asked for, held to 0 shut .. 1 open */
  turn(to) {
    const hand = Math.round(Math.min(1, Math.max(0, to)) * 10000) / 10000;
    if (hand === this.hand) return;
    const last = this.acts[this.acts.length - 1];
    // several moves within one step are one move
    if (last && last.do === "valve" && last.at_s === this.now_s) last.to = hand;
    else this.acts.push({ at_s: this.now_s, do: "valve", to: hand });
    this.hand = hand;
    this.#lookAhead();
  }

  openFully() {
    if (this.hand === 1) return;
    this.acts.push({ at_s: this.now_s, do: "open_fully" });
    this.hand = 1;
    this.#lookAhead();
  }

  /**
   * Cuff pressure at a clock time [mmHg]: what was, then what comes if nothing is moved.
   * @param {number} at_s
   */
  pressureAt(at_s) {
    const place = Math.max(0, at_s / this.cuff.step_s);
    const low = Math.floor(place);
    const from = this.#step(low);
    return from + (place - low) * (this.#step(low + 1) - from);
  }

  /** Every step of the log; stretches at 0 keep their ends only. */
  samples() {
    /** @type {number[]} */
    const time_s = [];
    /** @type {number[]} */
    const pressure_mmhg = [];
    this.mmhg.forEach((mmhg, step) => {
      const inside = mmhg === 0 && this.mmhg[step - 1] === 0 && this.mmhg[step + 1] === 0;
      if (inside) return;
      time_s.push(this.#round(step * this.cuff.step_s));
      pressure_mmhg.push(mmhg);
    });
    return { time_s, pressure_mmhg };
  }

  /** @param {number} step */
  #step(step) {
    if (step < this.mmhg.length) return this.mmhg[step];
    const ahead = step - this.mmhg.length;
    if (!this.ahead.length) return this.now_mmhg;
    return this.ahead[Math.min(ahead, this.ahead.length - 1)];
  }

  #lookAhead() {
    let state = this.state;
    this.ahead = [];
    for (let n = 0; n < AHEAD_S / this.cuff.step_s + 8; n += 1) {
      state = stepped(state, this.hand, this.cuff);
      this.ahead.push(logged(state.pressure_mmhg));
    }
  }

  /** @param {number} s */
  #round(s) {
    return Math.round(s * 10000) / 10000;
  }
}
