// The cuff step on the vectors that Python runs too.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";
import { emptyCuff, logged, squeezed, stepped } from "../../src/hushpoint/web/static/bench_cuff.js";

const { cases } = JSON.parse(readFileSync(new URL("../vectors/cuff.json", import.meta.url), "utf8"));

for (const { name, start_mmhg, cuff, acts, expect } of cases) {
  test(`cuff: ${name}`, () => {
    let state = { ...emptyCuff(), pressure_mmhg: start_mmhg };
    let hand = 0;
    let done = 0;
    for (const [steps, mmhg] of expect) {
      for (; done < steps; done += 1) {
        for (const act of acts.filter((/** @type {{step: number}} */ one) => one.step === done)) {
          if (act.do === "squeeze") state = squeezed(state, cuff);
          else hand = act.to;
        }
        state = stepped(state, hand, cuff);
      }
      const got = logged(state.pressure_mmhg);
      assert.ok(Math.abs(got - mmhg) <= 0.0101, `after ${steps} steps: ${got}, wanted ${mmhg}`);
    }
  });
}

test("the vectors are there", () => assert.ok(cases.length > 10));
