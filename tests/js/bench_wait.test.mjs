// The wait with the cuff empty: shown every second, spoken at 10 s and at its end only.
import assert from "node:assert/strict";
import test from "node:test";
import { Wait, spokenWords } from "../../src/hushpoint/web/static/bench_wait.js";

function made() {
  let now_ms = 5000;
  /** @type {string[]} */
  const shown = [];
  /** @type {string[]} */
  const spoken = [];
  const wait = new Wait(() => now_ms, (words) => void shown.push(words), (words) => void spoken.push(words));
  const pass = (/** @type {number} */ s) => {
    now_ms += s * 1000;
    wait.tick();
  };
  return { wait, shown, spoken, pass };
}

test("sixty seconds are counted down in sight and spoken twice", () => {
  const { wait, shown, spoken, pass } = made();
  wait.begin(5000, 60);
  assert.equal(wait.left_s, 60);
  for (let s = 0; s < 70; s += 1) pass(1);
  wait.end();
  assert.equal(shown.filter((words) => words.startsWith("Wait ")).length, 60);
  assert.deepEqual(spoken, ["10 seconds left to wait.", "The wait is over. Pump when you are ready."]);
  assert.equal(shown.at(-1), "");
});

test("after a reload the rest is waited, and a page that slept says once that it is over", () => {
  const { wait, shown, spoken, pass } = made();
  wait.begin(5000 - 40_000, 60);
  assert.equal(shown.at(-1), "Wait 20 s more with the cuff empty.");
  pass(300);
  assert.deepEqual(spoken, ["The wait is over. Pump when you are ready."]);
  wait.end();
});

test("pumping early ends it without a word", () => {
  const { wait, spoken, pass } = made();
  wait.begin(5000, 15);
  pass(2);
  wait.end();
  assert.equal(wait.left_s, 0);
  assert.deepEqual(spoken, []);
});

test("a wait that is over already is not begun", () => {
  const { wait, shown } = made();
  wait.begin(5000 - 90_000, 60);
  assert.deepEqual(shown, [""]);
});

test("a wait of ten seconds or less is not announced as it begins", () => {
  assert.equal(spokenWords(8, 7), "");
  assert.equal(spokenWords(12, 9), "9 seconds left to wait.");
});
