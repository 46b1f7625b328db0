// What the led visit knows: the server's last answer, and on top of it what was done since and waits to be sent. Acts
// are kept by the browser before they are sent, go once and in order, and come back with a reload.

import { Outbox } from "./bench_outbox.js";
import { ask, newId } from "./bench_dom.js";

/**
 * @typedef {import("./visit_next.js").Figures} Figures
 * @typedef {{ref: string, at: string, arm: string, systolic: number | null, diastolic: number | null, amended?: boolean}} Reading
 * @typedef {{id: string, code: string, now: string, begun_at: string, closed: boolean, answers: Record<string, any>,
 *   marks: Record<string, string>, mark_names: string[], readings: Reading[], policy: Figures & {id: string, name: string}, judged: any}} State
 * @typedef {{ref: string, at: string, told?: Record<string, any>, reading?: any, amend?: any}} Act
 */

export class Link {
  /**
   * @param {string} visit
   * @param {(state: State, fresh: boolean) => void} changed
   * @param {(words: string) => void} said
   */
  constructor(visit, changed, said) {
    this.visit = visit;
    this.changed = changed;
    this.said = said;
    /** @type {State | null} */
    this.last = null;
    this.ahead_ms = 0;
    /** How many acts the server has taken: an answer asked for before the newest of them is old. */
    this.taken = 0;
    /** @type {Map<string, Act>} acts not yet part of the server's last answer, in order */
    this.acts = new Map();
    /** @type {Storage | null} */
    let kept = null;
    try {
      kept = localStorage;
    } catch {
      // a forbidden store: the outbox keeps what waits in memory and says so
    }
    const store = {
      getItem: (/** @type {string} */ key) => kept?.getItem(key) ?? null,
      setItem: (/** @type {string} */ key, /** @type {string} */ value) => {
        if (!kept) throw new Error("no store");
        kept.setItem(key, value);
      },
    };
    this.outbox = new Outbox(
      store,
      (path, body) => ask("POST", path, body),
      {
        waiting: (is_kept) =>
          said(is_kept ? "Connection lost. What you write waits here; it will be sent once." : "Connection lost. Keep this page open: this browser keeps nothing."),
        unkept: () => said("This browser keeps nothing. Do not leave the page before everything is sent."),
        stored: () => {
          said("");
          this.taken += 1;
          if (!this.outbox.waiting().length) void this.load();
        },
        refused: (ref, why) => {
          this.acts.delete(ref);
          said(why);
          void this.load();
        },
      },
      `hushpoint.visit.${visit}`,
      () => `/client/${visit}/acts`,
    );
    for (const { measurement, log } of this.outbox.waiting()) this.acts.set(measurement, /** @type {Act} */ (log));
  }

  /** The time as the server has it [ms]. */
  now_ms() {
    return Date.now() + this.ahead_ms;
  }

  /** Whether something waits to be sent. */
  get waits() {
    return this.outbox.waiting().length > 0;
  }

  /**
   * Ask the server; where it cannot be reached, what is known stays.
   * @returns {Promise<void>}
   */
  async load() {
    const before = this.taken;
    try {
      const { status, data } = await ask("GET", `/client/${this.visit}/state`);
      if (status !== 200) throw new Error(data.error);
      if (before !== this.taken) return; // the newest of them asks again
      this.last = /** @type {State} */ (data);
      const waiting = new Set(this.outbox.waiting().map((one) => one.measurement));
      for (const ref of this.acts.keys()) if (!waiting.has(ref)) this.acts.delete(ref);
      this.ahead_ms = Date.parse(data.now) - Date.now();
      const now = this.now();
      if (now) this.changed(now, !this.waits);
    } catch {
      this.said("Connection lost. What you write waits here; it will be sent once.");
      setTimeout(() => void this.load(), 3000);
    }
  }

  /**
   * Do something: shown at once, sent when it can be.
   * @param {{told?: Record<string, any>, reading?: any, amend?: any}} what
   */
  act(what) {
    const act = { ref: newId(), at: new Date(this.now_ms()).toISOString(), ...what };
    this.acts.set(act.ref, act);
    void this.outbox.add(act.ref, act);
    const now = this.now();
    if (now) this.changed(now, false);
    return act.ref;
  }

  /**
   * The visit with what waits, or was taken since the server's last answer, added to it.
   * @returns {State | null}
   */
  now() {
    if (!this.last) return null;
    const state = structuredClone(this.last);
    for (const act of this.acts.values()) added(state, act);
    return state;
  }
}

/**
 * @param {State} state
 * @param {Act} act
 */
function added(state, act) {
  if (act.told) {
    for (const [name, value] of Object.entries(act.told)) (state.mark_names.includes(name) ? state.marks : state.answers)[name] = value;
  }
  if (act.reading && !state.readings.some((one) => one.ref === act.ref)) state.readings.push({ ref: act.ref, at: act.at, ...act.reading });
  if (act.amend) {
    for (const one of state.readings) {
      if (one.ref === act.amend.reading) Object.assign(one, { systolic: act.amend.systolic, diastolic: act.amend.diastolic, amended: true });
    }
  }
}
