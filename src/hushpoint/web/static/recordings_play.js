// One recording played with its cuff pressure: starts anywhere, at full or half speed, and tells which place is heard.

/** A recording in hand: plays from a place, at full or half speed, and tells which place is heard now. */
export class Player {
  /**
   * @param {BaseAudioContext} context
   * @param {AudioBuffer} buffer
   */
  constructor(context, buffer) {
    this.context = context;
    this.buffer = buffer;
    this.volume = context.createGain();
    this.volume.connect(context.destination);
    this.speed = 1;
    /** Place in the recording when it last started or stopped [s]. */
    this.from_s = 0;
    /** Context time at which it started. */
    this.started_s = 0;
    /** @type {AudioBufferSourceNode | null} */
    this.source = null;
    this.onEnd = () => {};
  }

  get playing() {
    return this.source !== null;
  }

  /** Start from where it stands. */
  start() {
    this.stop(this.context.currentTime);
    if (this.from_s >= this.buffer.duration - 0.05) this.from_s = 0;
    const source = this.context.createBufferSource();
    source.buffer = this.buffer;
    source.playbackRate.value = this.speed;
    source.connect(this.volume);
    this.started_s = this.context.currentTime + 0.02;
    source.start(this.started_s, this.from_s);
    source.onended = () => {
      if (this.source !== source) return;
      this.stop(this.context.currentTime);
      this.onEnd();
    };
    this.source = source;
  }

  /**
   * Stop, standing at the place of a context time.
   * @param {number} context_s
   */
  stop(context_s) {
    if (!this.source) return;
    this.from_s = this.placeAt(context_s);
    this.source.onended = null;
    this.source.stop();
    this.source.disconnect();
    this.source = null;
  }

  /**
   * Go to a place, playing on if it plays.
   * @param {number} place_s
   */
  goTo(place_s) {
    const playing = this.playing;
    this.stop(this.context.currentTime);
    this.from_s = Math.min(Math.max(0, place_s), this.buffer.duration);
    if (playing) this.start();
  }

  /** @param {number} speed 1, or 0.5 for half speed, an octave lower */
  setSpeed(speed) {
    const playing = this.playing;
    this.stop(this.context.currentTime);
    this.speed = speed;
    if (playing) this.start();
  }

  /**
   * The place in the recording [s] that leaves the context at a context time.
   * @param {number} context_s
   */
  placeAt(context_s) {
    if (!this.source) return this.from_s;
    const gone = Math.max(0, context_s - this.started_s) * this.speed;
    return Math.min(this.buffer.duration, this.from_s + gone);
  }
}

/**
 * The first time [s] after the peak at which the pressure has fallen to a value, a little before it.
 * @param {{time_s: number[], mmhg: number[]}} pressure
 * @param {number} mmhg
 * @param {number} before_s
 */
export function placeBefore(pressure, mmhg, before_s) {
  const peak = pressure.mmhg.indexOf(Math.max(...pressure.mmhg.filter(Number.isFinite)));
  for (let n = peak; n < pressure.mmhg.length; n += 1) {
    if (pressure.mmhg[n] <= mmhg) return Math.max(0, pressure.time_s[n] - before_s);
  }
  return 0;
}
