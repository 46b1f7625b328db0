// What scripts write is found in the catalogue by its shape; kPa stands beside mmHg only where it is asked for.

import assert from "node:assert/strict";
import test from "node:test";

globalThis.document = { documentElement: { lang: "en", dataset: {} } };
const { speaker } = await import("../../src/hushpoint/web/static/words.js");
const { besideKpa } = await import("../../src/hushpoint/web/static/units.js");

const say = speaker(
  {
    "Wait {left_s} s": "{left_s} s warten",
    "the readings differ by {apart} and {apart2}: one more on the {name} arm": "{apart} und {apart2} Unterschied: noch eine am Arm ({name})",
    "Connection lost. What you write waits here; it will be sent once.": "Verbindung verloren. Es wartet hier.",
    "released at {rate} mmHg/s": "mit {rate} mmHg/s abgelassen",
    left: "links",
    Stop: "Stopp",
  },
  ",",
);

test("a text of a script is said again with its parts", () => {
  assert.equal(say("Stop"), "Stopp");
  assert.equal(say("the readings differ by 8 and 6: one more on the left arm"), "8 und 6 Unterschied: noch eine am Arm (links)");
  assert.equal(say(" Released at 4.5 mmHg/s. "), " Mit 4,5 mmHg/s abgelassen. ");
  assert.equal(say("Connection lost. What you write waits here; it will be sent once."), "Verbindung verloren. Es wartet hier.");
});

test("what is none of ours stays, and what was said again is not said a third time", () => {
  for (const text of ["Asked her to sit, left", "K17", "12:30", "", "Verbindung verloren. Es wartet hier."]) assert.equal(say(text), text);
});

test("kPa stands beside mmHg, to one decimal, only where it is asked for", () => {
  assert.equal(besideKpa([120, 80], true, "en"), " (16.0/10.7 kPa)");
  assert.equal(besideKpa([140, null], true, "de"), " (18,7/– kPa)");
  assert.equal(besideKpa([null, null], true, "en"), "");
  assert.equal(besideKpa([120, 80], false, "en"), "");
});
