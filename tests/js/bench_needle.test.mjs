// The needle: bounce, lag, face and steady clock.
import assert from "node:assert/strict";
import test from "node:test";
import {
  bounceMmhg,
  dialAngle,
  followed,
  pulseShape,
  steadyClock,
} from "../../src/hushpoint/web/static/bench_needle.js";

const needle = { lag_s: 0.06, artery: [0.11, 0.0453, 0.3], cuff_ml: 300, ambient_mmhg: 760, above: [0.4, 40] };

test("the largest bounce at 120/80 is about 2.1 mmHg, a third up the range", () => {
  let best = 0;
  let where = 0;
  for (let cuff = 60; cuff <= 140; cuff += 0.5) {
    const now = bounceMmhg(cuff, 120, 80, needle);
    if (now > best) [best, where] = [now, cuff];
  }
  assert.ok(Math.abs(best - 2.1) < 0.1, `${best}`);
  assert.ok(Math.abs(where - 92) < 3, `${where}`);
});

test("the pointer still jumps above systolic, and less the higher it stands", () => {
  assert.ok(bounceMmhg(125, 120, 80, needle) > bounceMmhg(150, 120, 80, needle));
  assert.ok(bounceMmhg(150, 120, 80, needle) > 0.2);
});

test("the pulse wave starts at its foot and peaks at the end of the upstroke", () => {
  assert.equal(pulseShape(-0.01, 0.12), 0);
  assert.equal(pulseShape(0.12, 0.12), 1);
  assert.ok(pulseShape(0.8, 0.12) < 0.35);
});

test("a steady fall of 3 mmHg/s is shown 0.18 mmHg late", () => {
  let pointer = 150;
  let line = 150;
  for (let n = 0; n < 4000; n += 1) {
    line -= 0.003;
    pointer = followed(pointer, line, 0.001, 0.06);
  }
  assert.ok(Math.abs(pointer - line - 0.18) < 0.01, `${pointer - line}`);
});

test("the face has 0 lower left, 150 on top and 300 lower right", () => {
  assert.ok(Math.abs(dialAngle(0) + 160) < 0.01);
  assert.ok(Math.abs(dialAngle(150)) < 0.01);
  assert.ok(Math.abs(dialAngle(300) - 160) < 0.01);
});

test("the steady clock averages wandering out and takes a jump over", () => {
  const steady = steadyClock();
  let last = 0;
  for (let n = 0; n < 600; n += 1) last = steady(n / 60 + (n % 2 ? 0.008 : -0.008), n / 60);
  assert.ok(Math.abs(last - 599 / 60) < 0.002, `${last - 599 / 60}`);
  assert.equal(steady(5, 20), 5);
});
