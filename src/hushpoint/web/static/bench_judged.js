// The judgement on the page, below the next act: the numbers and the picture first, then ear, hand and pulse; pen and
// arm, long and seldom new, open when asked for.

import { el } from "./bench_dom.js";
import { byHand } from "./by_hand.js";
import { drawPicture, pictureTables, truthWords, writtenWords } from "./bench_picture.js";

/**
 * @typedef {import("./bench_picture.js").Judgement} Judgement
 */

/** Judged parts that are read when asked for. */
const FOLDED = ["Pen", "Arm"];

/**
 * @param {Element} place
 * @param {Judgement} judgement
 */
export function showJudgement(place, judgement) {
  const parts = /** @type {[string, string[]][]} */ ([
    ["Ear", judgement.ear.lines],
    ["Hand", judgement.hand.lines],
    ["Pulse", judgement.pulse?.lines ?? []],
    ["Arm", judgement.arm_lines],
    ["Pen", judgement.pen.lines],
  ]);
  const picture = el("figure", {});
  place.replaceChildren(
    el("div", { class: "judged-seen" }, numbers(judgement), picture, el("details", {}, el("summary", {}, "The same as a table"), ...pictureTables(judgement))),
    el("div", { class: "judged-told" }, ...parts.filter(([, lines]) => lines.length).map(part), ...(judgement.worked?.length ? [byHand(judgement.worked)] : [])),
    el("aside", { class: "bench-caution" }, el("strong", {}, "Caution"), ...judgement.cautions.map((line) => el("p", {}, line))),
  );
  // drawn last: it is as wide as its place
  picture.append(
    drawPicture(judgement, Math.max(300, Math.min(680, picture.clientWidth))),
    el("figcaption", {}, "Solid line, filled mark: truth. Dashed line, open triangle: you. Bars: heard, the higher the louder. Dots: not heard."),
  );
}

/** @param {[string, string[]]} named */
function part([name, lines]) {
  const told = lines.map((line) => el("p", {}, line));
  if (!FOLDED.includes(name)) return el("section", { class: "judged-part" }, el("h2", {}, name), ...told);
  return el("details", { class: "judged-part" }, el("summary", {}, `${name}: ${lines.length === 1 ? "one remark" : `${lines.length} remarks`}`), ...told);
}

/** @param {Judgement} judgement */
function numbers({ truth, reading }) {
  const ends = /** @type {("systolic" | "diastolic")[]} */ (["systolic", "diastolic"]);
  const row = (/** @type {string} */ head, /** @type {Element[]} */ cells) => el("tr", {}, el("th", { scope: "row" }, head), ...cells);
  return el(
    "table",
    { class: "numbers" },
    el("thead", {}, el("tr", {}, el("td", {}), ...ends.map((end) => el("th", { scope: "col" }, end)))),
    el(
      "tbody",
      {},
      row("You wrote", ends.map((end) => el("td", {}, el("span", { class: "you" }, writtenWords(reading[end]))))),
      row("Truth", sameReason(truth) ? [el("td", { colspan: 2 }, ...truthCell(truth.systolic))] : ends.map((end) => el("td", {}, ...truthCell(truth[end])))),
    ),
  );
}

/**
 * Whether both ends are withheld for one reason, which is then said once.
 * @param {Judgement["truth"]} truth
 */
function sameReason({ systolic, diastolic }) {
  return systolic.verdict === "withheld" && diastolic.verdict === "withheld" && systolic.reason === diastolic.reason;
}

/** @param {import("./bench_picture.js").Verdict} verdict */
function truthCell(verdict) {
  if (verdict.verdict === "withheld") return [el("span", { class: "withheld" }, `Withheld: ${verdict.reason}.`)];
  return [
    el("span", { class: "truth" }, truthWords(verdict.mmhg)),
    el("small", {}, `between ${truthWords(verdict.low)} and ${truthWords(verdict.high)}`),
  ];
}
