// The clock of a round: the quickest round trips count, and a slow answer in between spoils nothing.
import assert from "node:assert/strict";
import test from "node:test";
import { clockOf, readClock } from "../../src/hushpoint/web/static/server_clock.js";

test("clock: a stalled round trip is not counted", () => {
  const trips = [4, 6, 400, 5, 7].map((took, n) => ({ sent_ms: 1000 * n, got_ms: 1000 * n + took, server_ms: 5000 + 1000 * n + took / 2 }));
  trips[2].server_ms += 180; // the answer lay on the way back
  assert.equal(clockOf(trips).offset_ms, 5000);
});

test("clock: offset within half the quickest round trip, however lopsided the ways are", async () => {
  let now = 0;
  let n = 0;
  const ways = [[3, 9], [40, 2], [1, 8], [2, 60], [5, 5], [9, 3], [4, 6], [6, 4], [7, 9], [8, 8], [30, 1]];
  const clock = await readClock(
    async () => {
      const [out, back] = ways[n];
      n += 1;
      now += out;
      const server = now + 777;
      now += back;
      return server;
    },
    () => now,
  );
  assert.equal(n, 11);
  assert.ok(Math.abs(clock.offset_ms - 777) <= 5);
});
