// The wait with the cuff empty that the policy asks for: counted down in sight, spoken at 10 s and at its end, never
// in the way.

export const SPOKEN_AT_S = 10;
const TICK_MS = 250;

/** @param {number} left_s */
export function waitWords(left_s) {
  return left_s > 0 ? `Wait ${left_s} s more with the cuff empty.` : "The wait is over. Pump when you are ready.";
}

/**
 * What is spoken as the seconds left go from one number to another; mostly nothing.
 * @param {number} before_s
 * @param {number} left_s
 */
export function spokenWords(before_s, left_s) {
  if (before_s > 0 && left_s <= 0) return waitWords(0);
  return before_s > SPOKEN_AT_S && left_s <= SPOKEN_AT_S ? `${left_s} seconds left to wait.` : "";
}

export class Wait {
  /**
   * @param {() => number} now_ms
   * @param {(words: string) => void} shown called with every change, "" where there is no wait
   * @param {(words: string) => void} spoken
   */
  constructor(now_ms, shown, spoken) {
    this.now_ms = now_ms;
    this.shown = shown;
    this.spoken = spoken;
    this.from_ms = 0;
    this.asked_s = 0;
    this.before_s = 0;
    /** @type {ReturnType<typeof setInterval> | undefined} */
    this.timer = undefined;
  }

  /** Whole seconds left; 0 where nothing is waited for. */
  get left_s() {
    return Math.max(0, Math.ceil(this.asked_s - (this.now_ms() - this.from_ms) / 1000));
  }

  /**
   * @param {number} from_ms moment the cuff was empty
   * @param {number} asked_s
   */
  begin(from_ms, asked_s) {
    this.end();
    this.from_ms = from_ms;
    this.asked_s = asked_s;
    this.before_s = this.left_s;
    if (this.before_s <= 0) return;
    this.shown(waitWords(this.before_s));
    this.timer = setInterval(() => this.tick(), TICK_MS);
  }

  tick() {
    const left_s = this.left_s;
    if (left_s === this.before_s) return;
    this.shown(waitWords(left_s));
    const words = spokenWords(this.before_s, left_s);
    if (words) this.spoken(words);
    this.before_s = left_s;
    if (left_s <= 0) clearInterval(this.timer);
  }

  /** Nothing is waited for any more: the learner pumps, or goes on to someone else. */
  end() {
    clearInterval(this.timer);
    this.asked_s = 0;
    this.shown("");
  }
}
