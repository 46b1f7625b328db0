// The next step on the page is the server's, case by case (tests/vectors/visit_next.json).
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";
import { gravest, nextStep } from "../../src/hushpoint/web/static/visit_next.js";

const { figures, cases } = JSON.parse(readFileSync(new URL("../vectors/visit_next.json", import.meta.url), "utf8"));

test("every vector: what to do and how long to wait", () => {
  const wrong = cases.filter((one) => {
    const step = nextStep(figures[one.policy], one, one.now_ms);
    return step.do !== one.do || step.seconds !== one.seconds;
  });
  assert.deepEqual(wrong, []);
  assert.ok(cases.length >= 300);
});

test("the gravest limit is above 180 or 120, not at it", () => {
  const one = figures.NHFA_2016;
  assert.equal(gravest(one, { systolic: 180, diastolic: 120 }), false);
  assert.equal(gravest(one, { systolic: 181, diastolic: 80 }), true);
  assert.equal(gravest(one, { systolic: null, diastolic: 121 }), true);
});
