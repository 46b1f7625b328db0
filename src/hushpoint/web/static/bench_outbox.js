// What was finished (a measurement, a sealed reading, a technique sheet) waits here until the server has it: kept before
// sending, sent once, tried again until acknowledged. A browser that keeps nothing (full or forbidden store) has it in
// memory and says so. The server stores each act once however often it comes.

const KEY = "hushpoint.outbox";
const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 20000;

/**
 * @typedef {{measurement: string, log: unknown}} Waiting
 * @typedef {{getItem: (key: string) => string | null, setItem: (key: string, value: string) => void}} Store
 * @typedef {(path: string, body: unknown) => Promise<{status: number, data: {error?: string}}>} Send
 * @typedef {{waiting: (kept: boolean) => void, unkept: () => void, stored: (measurement: string) => void,
 *   refused: (measurement: string, why: string) => void}} Told
 */

/**
 * Two acts of one address are two: a sheet delivered again while the first is on its way must not go with it.
 * @param {Waiting} one
 * @param {Waiting} other
 */
function same(one, other) {
  return one.measurement === other.measurement && JSON.stringify(one.log) === JSON.stringify(other.log);
}

/**
 * The next wait after one that was too short [ms].
 * @param {number} wait_ms
 */
export function longer(wait_ms) {
  return Math.min(LONGEST_WAIT_MS, wait_ms * 2);
}

export class Outbox {
  /**
   * @param {Store} store
   * @param {Send} send
   * @param {Told} told
   * @param {string} [key] under which the store keeps them
   * @param {(id: string) => string} [pathOf] where each is sent
   */
  constructor(store, send, told, key = KEY, pathOf = (id) => `/practise/measurements/${id}/log`) {
    this.key = key;
    this.pathOf = pathOf;
    this.store = store;
    this.send = send;
    this.told = told;
    this.wait_ms = FIRST_WAIT_MS;
    this.busy = false;
    /** @type {Waiting[] | null} what waits, where the browser does not keep it */
    this.memory = null;
    /** @type {ReturnType<typeof setTimeout> | undefined} */
    this.timer = undefined;
    globalThis.addEventListener?.("online", () => void this.sendAll());
  }

  /** @returns {Waiting[]} */
  waiting() {
    if (this.memory) return this.memory;
    try {
      return JSON.parse(this.store.getItem(this.key) ?? "[]");
    } catch {
      return [];
    }
  }

  /** Whether something waits that would be lost with the page. */
  get unkept() {
    return (this.memory?.length ?? 0) > 0;
  }

  /**
   * Keep a finished measurement, then send it; where the browser keeps nothing, it is sent from memory.
   * @param {string} measurement
   * @param {unknown} log
   */
  add(measurement, log) {
    const one = { measurement, log };
    const waiting = this.waiting();
    if (!waiting.some((other) => same(other, one))) this.#keep([...waiting, one]);
    return this.sendAll();
  }

  /** Send what waits, the oldest first. */
  async sendAll() {
    if (this.busy) return;
    this.busy = true;
    clearTimeout(this.timer);
    try {
      for (let one = this.waiting()[0]; one; one = this.waiting()[0]) {
        if (!(await this.#sendOne(one))) return this.#again();
        this.wait_ms = FIRST_WAIT_MS;
      }
    } finally {
      this.busy = false;
    }
  }

  /** @param {Waiting} one */
  async #sendOne(one) {
    const { measurement, log } = one;
    let answer;
    try {
      answer = await this.send(this.pathOf(measurement), log);
    } catch {
      return false;
    }
    if (answer.status === 200 || answer.status === 201) {
      this.#keep(this.waiting().filter((other) => !same(other, one)));
      this.told.stored(measurement);
      return true;
    }
    const later = answer.status >= 500 || [401, 403, 408, 425, 429].includes(answer.status);
    if (later) return false;
    const why = answer.data.error ?? "The server did not take this reading.";
    this.#keep(this.waiting().filter((other) => !same(other, one)));
    this.told.refused(measurement, why);
    return true;
  }

  #again() {
    this.told.waiting(!this.unkept);
    this.timer = setTimeout(() => void this.sendAll(), this.wait_ms);
    this.wait_ms = longer(this.wait_ms);
  }

  /** @param {Waiting[]} all */
  #keep(all) {
    try {
      this.store.setItem(this.key, JSON.stringify(all));
      this.memory = null;
    } catch {
      this.memory = all;
      if (all.length) this.told.unkept();
    }
  }
}
