// One measurement's cuff on its clock, its log, and the sounds planned from it.
import assert from "node:assert/strict";
import test from "node:test";
import { CuffRun } from "../../src/hushpoint/web/static/bench_run.js";
import { armGainDb, samplesOf, wholeFrame } from "../../src/hushpoint/web/static/bench_sound.js";

const cuff = { step_s: 0.025, compliance_ml: [1.8, 6, 12], squeeze_ml: [70, 45, 760], tau_s: [2250, 1.5], dead_band: 0.03, hand_lag_s: 0.15, sag: [[0.045, 1.5], [0.02, 10]] };

function pumped() {
  const run = new CuffRun(cuff);
  for (let n = 0; n < 40; n += 1) {
    run.advance(n * 0.25);
    run.squeeze();
  }
  run.advance(11);
  run.turn(0.6);
  return run;
}

test("the line ahead comes true when nothing is moved", () => {
  const run = pumped();
  const foretold = run.pressureAt(12.01);
  run.advance(12.5);
  assert.equal(run.pressureAt(12.01), foretold);
});

test("a move changes the line ahead and nothing before it", () => {
  const run = pumped();
  const [past, ahead] = [run.pressureAt(10.9), run.pressureAt(12)];
  run.turn(0.9);
  assert.equal(run.pressureAt(10.9), past);
  assert.ok(run.pressureAt(12) < ahead);
});

test("the same acts give the same log however the timer stalls", () => {
  const smooth = pumped();
  for (let t = 11; t <= 20; t += 0.025) smooth.advance(t);
  const stalled = pumped();
  stalled.advance(20);
  smooth.advance(20);
  assert.deepEqual(smooth.samples(), stalled.samples());
});

test("the log leaves stretches at zero out but keeps their ends", () => {
  const run = new CuffRun(cuff);
  run.advance(2);
  run.squeeze();
  run.advance(3);
  const { time_s, pressure_mmhg } = run.samples();
  assert.deepEqual(time_s.slice(0, 2), [0, 2]);
  assert.deepEqual(pressure_mmhg.slice(0, 2), [0, 0]);
  assert.ok(time_s.every((t, n) => n === 0 || t > time_s[n - 1]));
});

test("several moves of the valve within one step are one move", () => {
  const run = new CuffRun(cuff);
  run.turn(0.1);
  run.turn(0.2);
  run.openFully();
  assert.deepEqual(run.acts, [{ at_s: 0, do: "valve", to: 0.2 }, { at_s: 0, do: "open_fully" }]);
});

test("arms are squeezed into 15 dB and keep their order", () => {
  assert.ok(armGainDb(50) === 0);
  assert.ok(Math.abs(armGainDb(22) + 15) < 1e-9);
  assert.equal(armGainDb(10), armGainDb(22));
  assert.ok(armGainDb(30) < armGainDb(40));
});

test("sounds begin on whole frames", () => {
  assert.equal(wholeFrame(1.00001, 44100), 44100);
});

test("samples are read as 16-bit little-endian", () => {
  const text = Buffer.from(Int16Array.from([0, 16384, -32768]).buffer).toString("base64");
  assert.deepEqual([...samplesOf(text)], [0, 0.5, -1]);
});
