// Needle and line as drawn: late by the time the sound takes to the ear, so that eye and ear agree.

import { drawDial, drawTrace } from "./bench_dial.js";
import { byId, inputById } from "./bench_dom.js";
import { bounceMmhg, followed, pulseShape, steadyClock } from "./bench_needle.js";
import { latency, now } from "./bench_state.js";

const WRIST_DELAY_S = 0.1;

const turnNeedle = drawDial(byId("dial"));
const drawPulseLine = drawTrace(byId("pulse-line"));
const drawLine = drawTrace(byId("line"));

function freshNeedle() {
  return {
    steady: steadyClock(),
    drawn_s: 0,
    mmhg: 0,
    beat: -1,
    bounce: 0,
    next: 0,
    /** @type {{at_s: number, height: number}[]} */
    blips: [],
    /** @type {{page_s: number, clock_s: number, mmhg: number}[]} */
    trace: [],
  };
}

export let needle = freshNeedle();

/** Begin with the needle at rest, at clock 0. */
export function drawAnew() {
  needle = freshNeedle();
}

/** @param {number} page_ms */
export function frame(page_ms) {
  requestAnimationFrame(frame);
  if (now.doing === "off" || !now.context || !now.table || !now.sounds) return;
  const at_s = needle.steady(now.context.currentTime, performance.now() / 1000) - now.zero_s - latency();
  moveNeedle(Math.max(0, at_s));
  if (now.doing === "pulse") drawPulseLine(at_s, needle.blips);
  else drawLine(at_s, needle.blips);
  turnNeedle(needle.mmhg);
  needle.trace.push({ page_s: page_ms / 1000, clock_s: at_s, mmhg: needle.mmhg });
  if (needle.trace.length > 3000) needle.trace.shift();
}

/** @param {number} to_s */
function moveNeedle(to_s) {
  if (!now.table) return;
  const { beats, upstroke_s } = now.table;
  while (needle.drawn_s < to_s - 1e-6) {
    const d_s = Math.min(0.01, to_s - needle.drawn_s);
    needle.drawn_s += d_s;
    while (beats.foot_s[needle.beat + 1] <= needle.drawn_s) nextBeat(needle.beat + 1);
    const line = now.run.pressureAt(needle.drawn_s);
    const since = needle.beat < 0 ? -1 : needle.drawn_s - beats.foot_s[needle.beat];
    const lifted = line > 0 ? line + needle.bounce * pulseShape(since, upstroke_s) : line;
    needle.mmhg = followed(needle.mmhg, lifted, d_s, now.table.needle.lag_s);
  }
}

/** @param {number} index */
function nextBeat(index) {
  if (!now.table || !now.sounds) return;
  needle.beat = index;
  const foot = now.table.beats.foot_s[index];
  const systolic = now.table.beats.systolic_mmhg[index];
  const at_foot = now.run.pressureAt(foot);
  needle.bounce = bounceMmhg(at_foot, systolic, now.table.beats.diastolic_mmhg[index], now.table.needle);
  if (now.doing === "pulse" || now.doing === "feel") {
    if (at_foot < systolic) blip(foot + WRIST_DELAY_S, 0.8);
  } else if (inputById("show-sounds").checked) {
    const played = now.sounds.planned.get(index);
    if (played) blip(played.at_s, Math.min(1, 0.3 + 0.7 * played.gain));
  }
}

/**
 * @param {number} at_s
 * @param {number} height
 */
function blip(at_s, height) {
  needle.blips = [...needle.blips.filter((one) => at_s - one.at_s < 6), { at_s, height }];
  if (now.doing !== "listen") navigator.vibrate?.(30);
}
