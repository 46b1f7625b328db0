// The audibility rule on the vectors that Python runs too.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";
import { hearBeat, joined } from "../../src/hushpoint/web/static/bench_rule.js";

const { cases } = JSON.parse(readFileSync(new URL("../vectors/audibility.json", import.meta.url), "utf8"));

for (const { name, table, time_s, pressure_mmhg, expect } of cases) {
  test(`audibility: ${name}`, () => {
    const end = time_s.at(-1);
    const pressureAt = (/** @type {number} */ t) => (t > end ? 0 : joined(t, time_s, pressure_mmhg));
    for (const wanted of expect.beats) {
      const heard = hearBeat(table, wanted.index, pressureAt);
      assert.ok(Math.abs(heard.mmhg - wanted.mmhg) <= 0.001, `beat ${wanted.index}: ${heard.mmhg} mmHg`);
      assert.equal(heard.audible, wanted.audible, `beat ${wanted.index}`);
      if (wanted.phase !== undefined) assert.equal(heard.phase, wanted.phase, `beat ${wanted.index}`);
      if (wanted.at_s !== undefined) assert.ok(Math.abs(heard.at_s - wanted.at_s) <= 0.0001, `${heard.at_s}`);
    }
  });
}

test("the vectors are there", () => assert.ok(cases.length > 20));
