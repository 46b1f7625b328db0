// How far this device's clock is off the server's: several round trips of a small question, the quickest of them count.

const TRIES = 11;
const COUNTED = 3;

/**
 * @typedef {{offset_ms: number, round_trip_ms: number}} Clock server time = performance.now() + offset_ms
 */

/**
 * The median offset of the quickest round trips.
 * @param {{sent_ms: number, got_ms: number, server_ms: number}[]} trips
 * @returns {Clock}
 */
export function clockOf(trips) {
  const quickest = [...trips]
    .sort((a, b) => a.got_ms - a.sent_ms - (b.got_ms - b.sent_ms))
    .slice(0, COUNTED)
    .map((one) => ({ offset_ms: one.server_ms - (one.sent_ms + one.got_ms) / 2, round_trip_ms: one.got_ms - one.sent_ms }))
    .sort((a, b) => a.offset_ms - b.offset_ms);
  return quickest[Math.floor(quickest.length / 2)];
}

/**
 * Ask the server for its time a few times; throws where it cannot be reached.
 * @param {() => Promise<number>} askTime
 * @param {() => number} now_ms
 */
export async function readClock(askTime, now_ms) {
  const trips = [];
  for (let n = 0; n < TRIES; n += 1) {
    const sent_ms = now_ms();
    const server_ms = await askTime();
    trips.push({ sent_ms, got_ms: now_ms(), server_ms });
  }
  return clockOf(trips);
}

/** The server's time [ms since 1970]. */
export async function askServerTime() {
  const answer = await fetch("/practise/time", { cache: "no-store" });
  if (!answer.ok) throw new Error(`the time route answers ${answer.status}`);
  return Number((await answer.json()).now_ms);
}
