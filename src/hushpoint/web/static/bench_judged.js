// The judgement on the page: the next act first, then ear, hand, pen, pulse and arm, the picture and its table.

import { el } from "./bench_dom.js";
import { drawPicture, pictureTables, verdictWords, writtenWords } from "./bench_picture.js";

/**
 * @typedef {import("./bench_picture.js").Judgement} Judgement
 */

/**
 * @param {Element} place
 * @param {Judgement} judgement
 */
export function showJudgement(place, judgement) {
  const { truth, reading } = judgement;
  const sections = /** @type {[string, string[]][]} */ ([
    ["Ear", judgement.ear.lines],
    ["Hand", judgement.hand.lines],
    ["Pen", judgement.pen.lines],
    ["Pulse", judgement.pulse?.lines ?? []],
    ["Arm", judgement.arm_lines],
  ]);
  const width = Math.max(300, Math.min(680, place.clientWidth));
  place.replaceChildren(
    el("h1", { id: "next-act", tabindex: "-1" }, judgement.next),
    el(
      "dl",
      { class: "numbers" },
      el("div", {}, el("dt", {}, "You wrote"), el("dd", { class: "you" }, pair(reading))),
      el("div", {}, el("dt", {}, "Truth, systolic"), el("dd", { class: kind(truth.systolic) }, verdictWords(truth.systolic))),
      el("div", {}, el("dt", {}, "Truth, diastolic"), el("dd", { class: kind(truth.diastolic) }, verdictWords(truth.diastolic))),
    ),
    ...sections
      .filter(([, lines]) => lines.length)
      .map(([name, lines]) =>
        el("section", { class: "judged-part" }, el("h2", {}, name), ...lines.map((line) => el("p", {}, line))),
      ),
    el("figure", {}, drawPicture(judgement, width), el("figcaption", {}, "Solid line, filled mark: truth. Dashed line, open triangle: you. Bars: heard, the higher the louder. Dots: not heard.")),
    el("details", {}, el("summary", {}, "The same as a table"), ...pictureTables(judgement)),
    el("aside", { class: "bench-caution" }, el("strong", {}, "Caution"), ...judgement.cautions.map((line) => el("p", {}, line))),
  );
}

/** @param {import("./bench_picture.js").Reading} reading */
function pair(reading) {
  return `${writtenWords(reading.systolic)} / ${writtenWords(reading.diastolic)}`;
}

/** @param {import("./bench_picture.js").Verdict} verdict */
function kind(verdict) {
  return verdict.verdict === "withheld" ? "withheld" : "truth";
}
