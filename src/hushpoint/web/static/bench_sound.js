// The sounds, scheduled ahead on the audio clock; those not yet begun are planned again when a control moves.

import { hearBeat, joined } from "./bench_rule.js";
import { AHEAD_S } from "./bench_run.js";
import { isChecked, level_db, profile } from "./device.js";

/**
 * @typedef {import("./bench_rule.js").RuleTable & {measurement: string, table_s: number,
 *   gain: {place: number[], gain_db: number[]}, loudness_db: number,
 *   sounds: {rate_hz: number, phases: Record<string, string[]>}, cuff: import("./bench_cuff.js").Cuff,
 *   needle: import("./bench_needle.js").Needle, advice?: {row: string, text: string, source: string}[]}} ArmTable
 * @typedef {{index: number, at_s: number, start_s: number, frame: number, gain: number, mmhg: number,
 *   source: AudioBufferSourceNode, volume: GainNode}} Planned
 */

/** Arms differ by up to 28 dB, from about 22 to 50 dB over the hearing floor; they are played within 15 dB. */
const LOUDEST_ARM_DB = 50;
const ARMS_DB = 28;
const PLAYED_DB = 15;
/** A sound this near is let go as planned [s]. */
const TOO_LATE_S = 0.01;
/** A first sound in a whole room of phones must not startle [dB]. */
const HEADROOM_DB = -3;
/** The loudest arm's phase III peaks at 0.35 here and at 0.2 in rounds and papers [dB]. */
const OVER_PAPERS_DB = 4.9;

/**
 * How loud an arm is played beside the loudest [dB], its loudness over the hearing floor given [dB].
 * @param {number} loudness_db
 */
export function armGainDb(loudness_db) {
  const down = Math.min(ARMS_DB, Math.max(0, LOUDEST_ARM_DB - loudness_db));
  return (-down * PLAYED_DB) / ARMS_DB;
}

/**
 * The nearest whole frame: a sound begun between frames is spread over its neighbours.
 * @param {number} at_s
 * @param {number} rate_hz
 */
export function wholeFrame(at_s, rate_hz) {
  return Math.round(at_s * rate_hz);
}

/**
 * Base64 of 16-bit little-endian samples to floats from -1 to 1.
 * @param {string} text
 */
export function samplesOf(text) {
  const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
  const view = new DataView(bytes.buffer);
  return Float32Array.from({ length: bytes.length >> 1 }, (_, n) => view.getInt16(2 * n, true) / 32768);
}

/** What the device check adds here [dB]: its level was found for the quieter sounds of papers; 0 where none was made. */
function checkedLevelDb() {
  return isChecked(profile()) ? level_db(profile()) - OVER_PAPERS_DB : 0;
}

export class BeatSounds {
  /**
   * @param {BaseAudioContext} context
   * @param {ArmTable} table
   * @param {number} zero_s audio time of clock 0 [s]
   */
  constructor(context, table, zero_s) {
    this.context = context;
    this.table = table;
    this.zero_s = zero_s;
    /** Nothing is played while the stethoscope is not in the ears. */
    this.listening = false;
    /** @type {Map<number, Planned>} every sound planned, by beat; what was taken back is gone from it */
    this.planned = new Map();
    this.out = context.createGain();
    this.out.gain.value = 10 ** ((armGainDb(table.loudness_db) + HEADROOM_DB + checkedLevelDb()) / 20);
    this.out.connect(context.destination);
    /** @type {Record<string, AudioBuffer[]>} */
    this.buffers = {};
    for (const [phase, variants] of Object.entries(table.sounds.phases)) {
      this.buffers[phase] = variants.map((text) => {
        const samples = samplesOf(text);
        const buffer = context.createBuffer(1, samples.length, table.sounds.rate_hz);
        buffer.copyToChannel(samples, 0);
        return buffer;
      });
    }
    this.next = 0;
  }

  /**
   * Plan every beat whose foot falls before the horizon, by the line as it stands.
   * @param {number} clock_s
   * @param {(at_s: number) => number} pressureAt
   */
  plan(clock_s, pressureAt) {
    const { foot_s } = this.table.beats;
    while (this.next < foot_s.length && foot_s[this.next] < clock_s - 1) this.next += 1;
    for (let index = this.next; index < foot_s.length && foot_s[index] < clock_s + AHEAD_S; index += 1) {
      const before = this.planned.get(index);
      if (before && before.at_s <= clock_s + TOO_LATE_S) continue;
      const heard = hearBeat(this.table, index, pressureAt);
      const wanted = this.listening && heard.audible && heard.at_s > clock_s;
      const gain = wanted ? 10 ** (this.#gainDb(index, heard.place) / 20) : 0;
      const frame = wholeFrame(this.zero_s + heard.at_s, this.context.sampleRate);
      if (before && wanted && before.frame === frame && Math.abs(before.gain - gain) < 1e-6) continue;
      if (before) this.#takeBack(before);
      if (wanted) this.#start(index, heard, frame, gain);
    }
  }

  /** Take back every sound not yet begun, and end those that sound. */
  silence() {
    for (const one of this.planned.values()) one.volume.disconnect();
    this.out.disconnect();
  }

  /**
   * Play one sample at once, to try the earphones.
   * @param {string} phase
   */
  tryOut(phase) {
    this.#play(this.buffers[phase][0], 0, 1);
  }

  /**
   * @param {number} index
   * @param {number} place
   */
  #gainDb(index, place) {
    const { beats, loudness_db, gain } = this.table;
    return beats.level_db[index] - loudness_db + joined(place, gain.place, gain.gain_db);
  }

  /**
   * @param {number} index
   * @param {import("./bench_rule.js").BeatHeard} heard
   * @param {number} frame
   * @param {number} gain
   */
  #start(index, heard, frame, gain) {
    const variants = this.buffers[heard.phase];
    const start_s = frame / this.context.sampleRate;
    const { source, volume } = this.#play(variants[index % variants.length], start_s, gain);
    const { at_s, mmhg } = heard;
    this.planned.set(index, { index, at_s, start_s, frame, gain, mmhg, source, volume });
  }

  /**
   * @param {AudioBuffer} buffer
   * @param {number} start_s
   * @param {number} gain
   */
  #play(buffer, start_s, gain) {
    const source = this.context.createBufferSource();
    const volume = this.context.createGain();
    source.buffer = buffer;
    volume.gain.value = gain;
    source.connect(volume).connect(this.out);
    source.start(start_s);
    source.onended = () => volume.disconnect();
    return { source, volume };
  }

  /** @param {Planned} one */
  #takeBack(one) {
    one.source.onended = null;
    one.source.stop();
    one.volume.disconnect();
    this.planned.delete(one.index);
  }
}
