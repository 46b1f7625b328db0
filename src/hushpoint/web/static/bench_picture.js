// The judgement's picture: sounds over falling pressure, the truth, what was written, and the rate; and its table.

import { el, svg } from "./bench_dom.js";

/**
 * @typedef {{verdict: "heard", mmhg: number, low: number, high: number} | {verdict: "withheld", reason: string}} Verdict
 * @typedef {{at_s: number, mmhg: number, level_db: number, audible: boolean, phase: string}} PictureBeat
 * @typedef {{beats: PictureBeat[], gap_mmhg: null | number[], pressure: {time_s: number[], mmhg: number[]},
 *   asked_rate: number[]}} Picture
 * @typedef {{systolic: number | null, diastolic: number | null, muffling?: number | null}} Reading
 * @typedef {{measurement: string, next: string,
 *   truth: {systolic: Verdict, diastolic: Verdict, muffling_mmhg: number | null}, reading: Reading,
 *   ear: {lines: string[]}, pen: {lines: string[]}, pulse: null | {lines: string[]}, arm_lines: string[], worked?: import("./by_hand.js").Worked[],
 *   hand: {lines: string[], segments: {from_mmhg: number, to_mmhg: number, rate_mmhg_per_s: number}[]},
 *   picture: Picture, cautions: string[]}} Judgement
 */

const LEFT = 62;
const SOUNDS = { top: 34, base: 104 };
const TRUTH = 138;
const YOU = 176;
const RATE = { top: 206, base: 266 };
const HIGHEST_RATE = 8;

/** How far beyond the outermost sound or mark the picture goes [mmHg]. */
const AROUND_MMHG = 12;

/**
 * The highest and lowest pressure the picture shows [mmHg], to whole twenties around sounds and marks.
 * @param {PictureBeat[]} beats
 * @param {(number | null)[]} marks
 */
export function pictureSpan(beats, marks) {
  const heard = beats.filter((one) => one.audible).map((one) => one.mmhg);
  const all = [...heard, ...marks.filter((one) => one !== null)];
  if (!all.length) return { high: 200, low: 40 };
  const high = Math.ceil((Math.max(...all) + AROUND_MMHG) / 20) * 20;
  const low = Math.max(0, Math.floor((Math.min(...all) - AROUND_MMHG) / 20) * 20);
  return { high: Math.max(high, low + 40), low };
}

/** @param {Verdict} verdict */
function heardAt(verdict) {
  return verdict.verdict === "heard" ? verdict.mmhg : null;
}

/**
 * @param {Judgement} judgement
 * @param {number} width of the picture [px]
 */
export function drawPicture(judgement, width) {
  const right = width - 12;
  const { picture, truth, reading, hand } = judgement;
  const truths = [heardAt(truth.systolic), heardAt(truth.diastolic)];
  const yours = [reading.systolic, reading.diastolic];
  const span = pictureSpan(picture.beats, [...truths, ...yours]);
  const x = (/** @type {number} */ mmhg) => LEFT + ((span.high - mmhg) / (span.high - span.low)) * (right - LEFT);
  const within = picture.beats.filter((one) => one.mmhg <= span.high && one.mmhg >= span.low);
  const shapes = [...axis(span, x), ...gap(picture.gap_mmhg, x), ...bars(within, x)];
  shapes.push(...marks("truth", "truth", TRUTH, truths, x), ...marks("you", "you", YOU, yours, x));
  const shown = hand.segments.filter((one) => one.to_mmhg < span.high && one.from_mmhg > span.low);
  shapes.push(...rates(shown, picture.asked_rate, x, right));
  return svg(
    "svg",
    { viewBox: `0 0 ${width} 280`, class: "picture", role: "img", "aria-label": "Sounds, truth, your reading and rate over falling pressure; the table below says the same" },
    svg(
      "defs",
      {},
      svg(
        "pattern",
        { id: "hatch", width: 8, height: 8, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" },
        svg("line", { x1: 0, y1: 0, x2: 0, y2: 8, class: "picture-hatch" }),
      ),
    ),
    ...shapes,
  );
}

/**
 * @param {number | string} x
 * @param {number} y
 * @param {string} text
 * @param {string} [anchor]
 */
function label(x, y, text, anchor = "start") {
  return svg("text", { x, y, "text-anchor": anchor }, text);
}

/**
 * @param {{high: number, low: number}} span
 * @param {(mmhg: number) => number} x
 */
function axis(span, x) {
  const parts = [label(0, 18, "mmHg"), label(0, SOUNDS.base, "sounds")];
  const step = span.high - span.low > 120 ? 40 : 20;
  for (let mmhg = span.low; mmhg <= span.high; mmhg += step) {
    parts.push(label(x(mmhg), 18, String(mmhg), "middle"));
    parts.push(svg("line", { x1: x(mmhg), x2: x(mmhg), y1: 24, y2: RATE.base, class: "picture-grid" }));
  }
  return parts;
}

/**
 * @param {null | number[]} between
 * @param {(mmhg: number) => number} x
 */
function gap(between, x) {
  if (!between) return [];
  const [low, high] = between;
  const box = { x: x(high), width: x(low) - x(high), y: SOUNDS.top, height: SOUNDS.base - SOUNDS.top };
  return [svg("rect", { ...box, fill: "url(#hatch)" }), label((x(low) + x(high)) / 2, 46, "gap", "middle")];
}

/**
 * @param {PictureBeat[]} beats
 * @param {(mmhg: number) => number} x
 */
function bars(beats, x) {
  const loudest = Math.max(1, ...beats.filter((one) => one.audible).map((one) => one.level_db));
  return beats.map((beat) => {
    if (!beat.audible) return svg("circle", { cx: x(beat.mmhg), cy: SOUNDS.base - 2, r: 2, class: "picture-dot" });
    const height = 6 + (SOUNDS.base - SOUNDS.top - 6) * Math.max(0, beat.level_db / loudest);
    const at = { x: x(beat.mmhg) - 2, width: 4, y: SOUNDS.base - height, height };
    return svg("rect", { ...at, class: "picture-bar" });
  });
}

/**
 * @param {string} kind
 * @param {string} name
 * @param {number} y
 * @param {(number | null)[]} pair
 * @param {(mmhg: number) => number} x
 */
function marks(kind, name, y, pair, x) {
  const parts = [label(0, y + 5, name)];
  const [high, low] = pair;
  if (high !== null && low !== null) {
    parts.push(svg("line", { x1: x(high), x2: x(low), y1: y, y2: y, class: `picture-${kind}` }));
  }
  if (high === null && low === null) {
    parts.push(label(LEFT, y + 5, kind === "truth" ? "withheld" : "not heard"));
  }
  pair.forEach((mmhg, which) => {
    if (mmhg === null) return;
    const at = x(mmhg);
    const corners = kind === "truth" ? `${at},${y - 8} ${at + 7},${y} ${at},${y + 8} ${at - 7},${y}` : `${at},${y - 8} ${at + 8},${y + 7} ${at - 8},${y + 7}`;
    parts.push(svg("polygon", { points: corners, class: `picture-${kind}-mark` }));
    parts.push(label(which ? at + 12 : at - 12, y - 8, truthWords(mmhg), which ? "start" : "end"));
  });
  return parts;
}

/**
 * @param {{from_mmhg: number, to_mmhg: number, rate_mmhg_per_s: number}[]} segments
 * @param {number[]} asked
 * @param {(mmhg: number) => number} x
 * @param {number} right
 */
function rates(segments, asked, x, right) {
  const y = (/** @type {number} */ rate) => RATE.base - (Math.min(rate, HIGHEST_RATE) / HIGHEST_RATE) * (RATE.base - RATE.top);
  const box = { x: LEFT, width: right - LEFT, y: y(asked[1]), height: y(asked[0]) - y(asked[1]) };
  const parts = [label(0, RATE.base - 20, "rate"), label(0, RATE.base, "mmHg/s"), svg("rect", { ...box, class: "picture-asked" })];
  parts.push(label(right, RATE.base + 12, `box: ${asked[0]} to ${asked[1]} asked`, "end"));
  const held = (/** @type {number} */ mmhg) => Math.min(right, Math.max(LEFT, x(mmhg)));
  const points = segments.flatMap((one) => [
    `${held(one.from_mmhg)},${y(one.rate_mmhg_per_s)}`,
    `${held(one.to_mmhg)},${y(one.rate_mmhg_per_s)}`,
  ]);
  if (points.length) parts.push(svg("polyline", { points: points.join(" "), class: "picture-rate" }));
  for (const one of segments) {
    const middle = (held(one.from_mmhg) + held(one.to_mmhg)) / 2;
    parts.push(label(middle, y(one.rate_mmhg_per_s) - 5, one.rate_mmhg_per_s.toFixed(1), "middle"));
  }
  return parts;
}

/**
 * A truth as shown: whole, but with its decimal where that is 5, so that reading less truth is the error shown beside it
 * (124 less 120.5 is 3.5, shown as 4; less 121 it would be 3).
 * @param {number} mmhg
 */
export function truthWords(mmhg) {
  return Math.round(mmhg * 10) % 10 === 5 ? mmhg.toFixed(1) : mmhg.toFixed(0);
}

/**
 * A verdict in words.
 * @param {Verdict} verdict
 */
export function verdictWords(verdict) {
  if (verdict.verdict === "withheld") return `Withheld: ${verdict.reason}.`;
  return `${truthWords(verdict.mmhg)} (the crossing lies between ${verdict.low.toFixed(0)} and ${verdict.high.toFixed(0)})`;
}

/** @param {number | null | undefined} mmhg */
export function writtenWords(mmhg) {
  return mmhg === null || mmhg === undefined ? "not heard" : String(mmhg);
}

/** @param {Judgement} judgement */
export function pictureTables(judgement) {
  const { truth, reading, hand, picture } = judgement;
  return [
    table("Truth and your reading [mmHg]", ["", "truth", "you"], [
      ["systolic", verdictWords(truth.systolic), writtenWords(reading.systolic)],
      ["diastolic", verdictWords(truth.diastolic), writtenWords(reading.diastolic)],
      ["muffling", truth.muffling_mmhg === null ? "none" : truthWords(truth.muffling_mmhg), reading.muffling == null ? "not written" : String(reading.muffling)],
    ]),
    table("Rate of release [mmHg/s]", ["from", "to", "rate"], hand.segments.map((one) => [
      one.from_mmhg.toFixed(0),
      one.to_mmhg.toFixed(0),
      one.rate_mmhg_per_s.toFixed(1),
    ])),
    table("Beats of the release", ["mmHg", "heard", "phase", "level dB"], picture.beats.map((one) => [
      one.mmhg.toFixed(0),
      one.audible ? "heard" : "silent",
      one.audible ? one.phase : "",
      one.audible ? one.level_db.toFixed(0) : "",
    ])),
  ];
}

/**
 * @param {string} caption
 * @param {string[]} heads
 * @param {string[][]} rows
 */
function table(caption, heads, rows) {
  return el(
    "table",
    { class: "figures" },
    el("caption", {}, caption),
    el("thead", {}, el("tr", {}, ...heads.map((head) => el("th", { scope: "col" }, head)))),
    el("tbody", {}, ...rows.map((row) => el("tr", {}, ...row.map((cell) => el("td", {}, cell))))),
  );
}
