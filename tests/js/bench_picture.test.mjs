// What the judgement's picture shows, and its words.
import assert from "node:assert/strict";
import test from "node:test";
import { pictureSpan, truthWords, verdictWords, writtenWords } from "../../src/hushpoint/web/static/bench_picture.js";

const beat = (/** @type {number} */ mmhg, /** @type {boolean} */ audible) => ({ at_s: 0, mmhg, level_db: 20, audible, phase: "I" });

test("the picture closes in on sounds and marks, not on the emptying cuff", () => {
  const beats = [beat(150, false), beat(119, true), beat(82, true), beat(8, false)];
  assert.deepEqual(pictureSpan(beats, [120, null]), { high: 140, low: 60 });
});

test("with nothing heard and nothing written it still has a span", () => {
  assert.deepEqual(pictureSpan([beat(100, false)], [null, null]), { high: 200, low: 40 });
});

test("a truth is shown whole, but keeps a decimal of 5 so that a pencil finds the error shown", () => {
  assert.equal(truthWords(119.6), "120");
  assert.equal(truthWords(119.5), "119.5");
  assert.equal(truthWords(120.5), "120.5");
  assert.equal(truthWords(120.4), "120");
  assert.equal(truthWords(82), "82");
});

test("withheld and not heard are said in words, never as 0", () => {
  assert.equal(verdictWords({ verdict: "withheld", reason: "pumped too low" }), "Withheld: pumped too low.");
  assert.equal(writtenWords(null), "not heard");
  assert.equal(writtenWords(0), "0");
});
