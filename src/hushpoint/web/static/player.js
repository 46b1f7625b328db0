// Plays one sealed measurement: sound on the audio clock, the needle drawn as late as the sound takes to the ear.

import { joined } from "./bench_rule.js";
import { steadyClock } from "./bench_needle.js";
import { latencyOf, level_db, profile } from "./device.js";

/** A start nearer than this is played at once, from where it should have been [s]. */
const TOO_NEAR_S = 0.03;
/** Both clocks are compared over this time: long enough for a step of the audio clock, too short for them to part [s]. */
const LATELY_S = 2;

/**
 * @typedef {{step_s: number, mmhg: number[]}} Path
 */

export class Player {
  /**
   * @param {AudioContext} context
   * @param {(mmhg: number) => void} turn moves the needle
   * @param {() => void} ended
   */
  constructor(context, turn, ended) {
    this.context = context;
    this.turn = turn;
    this.ended = ended;
    /** How this device is listened with: its level is that profile's. */
    this.profile = profile();
    /** @type {AudioBuffer | null} */
    this.buffer = null;
    /** @type {Path} */
    this.path = { step_s: 1, mmhg: [0] };
    /** @type {AudioBufferSourceNode | null} */
    this.source = null;
    /** The context's time at the first sample; null while nothing plays. */
    this.zero_s = /** @type {number | null} */ (null);
    /** @type {{page_s: number, ahead_s: number}[]} how far context time ran ahead of page time lately [s] */
    this.lately = [];
    this.steady = steadyClock();
    this.frame = () => this.#frame();
    requestAnimationFrame(this.frame);
  }

  /**
   * Fetch and decode; throws where it cannot be had.
   * @param {string} sound
   * @param {string} needle
   */
  async load(sound, needle) {
    this.stop();
    this.buffer = null;
    const [heard, seen] = await Promise.all([fetch(sound, { cache: "no-store" }), fetch(needle, { cache: "no-store" })]);
    if (!heard.ok || !seen.ok) throw new Error((await (heard.ok ? seen : heard).json().catch(() => ({}))).error ?? "not to be had");
    this.path = await seen.json();
    this.buffer = await this.context.decodeAudioData(await heard.arrayBuffer());
    this.turn(0);
  }

  /** How long it lasts [s]. */
  get seconds() {
    return this.buffer ? this.buffer.duration : 0;
  }

  get playing() {
    return this.source !== null;
  }

  /** Play from the beginning, now. */
  play() {
    this.#start(this.context.currentTime + 0.1);
  }

  /**
   * Play so that the first sample falls on a page time, or join in what is on already.
   * @param {number} at_ms performance.now() of the first sample
   */
  playAt(at_ms) {
    this.#start(at_ms / 1000 + this.ahead_s());
  }

  /** How far context time runs ahead of page time [s]: its clock moves in steps, so the largest seen lately. */
  ahead_s() {
    const now_s = this.context.currentTime - performance.now() / 1000;
    return Math.max(now_s, ...this.lately.map((one) => one.ahead_s));
  }

  stop() {
    if (this.source) {
      this.source.onended = null;
      this.source.stop();
      this.source.disconnect();
    }
    this.source = null;
    this.zero_s = null;
  }

  /** @param {number} zero_s context time of the first sample */
  #start(zero_s) {
    if (!this.buffer) return;
    this.stop();
    const late_s = this.context.currentTime + TOO_NEAR_S - zero_s;
    if (late_s >= this.buffer.duration) return;
    const source = this.context.createBufferSource();
    const volume = this.context.createGain();
    volume.gain.value = 10 ** (level_db(this.profile) / 20);
    source.buffer = this.buffer;
    source.connect(volume).connect(this.context.destination);
    if (late_s > 0) source.start(this.context.currentTime + TOO_NEAR_S, late_s);
    else source.start(zero_s);
    source.onended = () => {
      volume.disconnect();
      this.source = null;
      this.ended();
    };
    this.source = source;
    this.zero_s = zero_s;
  }

  #frame() {
    requestAnimationFrame(this.frame);
    const page_s = performance.now() / 1000;
    const context_s = this.context.currentTime;
    this.lately = this.lately.filter((one) => page_s - one.page_s < LATELY_S);
    if (this.context.state === "running") this.lately.push({ page_s, ahead_s: context_s - page_s });
    if (this.zero_s === null) return;
    const at_s = this.steady(context_s, page_s) - this.zero_s - latencyOf(this.context);
    const place = Math.max(0, at_s) / this.path.step_s;
    const low = Math.min(Math.floor(place), this.path.mmhg.length - 1);
    const high = Math.min(low + 1, this.path.mmhg.length - 1);
    this.turn(joined(place, [low, low + 1], [this.path.mmhg[low], this.path.mmhg[high]]));
  }
}
