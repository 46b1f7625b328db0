// The face: 0 to 300 over 320 degrees, lines every 2, longer at 10, numbers at 20; no stop pin, no digits elsewhere.

import { svg } from "./bench_dom.js";
import { dialAngle } from "./bench_needle.js";

const CENTRE = 150;
const RIM = 140;

/**
 * Draw the face into an SVG element and return what moves the needle.
 * @param {Element} face
 */
export function drawDial(face) {
  face.setAttribute("viewBox", "0 0 300 300");
  face.append(svg("circle", { cx: CENTRE, cy: CENTRE, r: 147, class: "dial-rim" }));
  for (let mmhg = 0; mmhg <= 300; mmhg += 2) {
    const long = mmhg % 10 === 0;
    const numbered = mmhg % 20 === 0;
    const length = numbered ? 17 : long ? 14 : 8;
    face.append(
      svg("line", {
        x1: CENTRE,
        x2: CENTRE,
        y1: CENTRE - RIM,
        y2: CENTRE - RIM + length,
        transform: `rotate(${dialAngle(mmhg).toFixed(3)} ${CENTRE} ${CENTRE})`,
        class: long ? "dial-long" : "dial-line",
      }),
    );
    if (!numbered) continue;
    const angle = (dialAngle(mmhg) * Math.PI) / 180;
    const x = CENTRE + 108 * Math.sin(angle);
    const y = CENTRE - 108 * Math.cos(angle);
    face.append(svg("text", { x: x.toFixed(1), y: (y + 5).toFixed(1), class: "dial-number" }, String(mmhg)));
  }
  face.append(svg("text", { x: CENTRE, y: CENTRE + 62, class: "dial-unit" }, "mmHg"));
  const needle = svg(
    "g",
    { class: "dial-needle" },
    svg("line", { x1: CENTRE, y1: CENTRE + 28, x2: CENTRE, y2: CENTRE - RIM + 5 }),
    svg("circle", { cx: CENTRE, cy: CENTRE, r: 8 }),
  );
  face.append(needle);
  const turn = (/** @type {number} */ mmhg) =>
    needle.setAttribute("transform", `rotate(${dialAngle(mmhg).toFixed(3)} ${CENTRE} ${CENTRE})`);
  turn(0);
  return turn;
}

const TRACE_WIDTH = 200;
const TRACE_S = 4;

/**
 * Draw a running line of blips (the wrist, or the sounds where they are shown) and return what redraws it.
 * @param {Element} strip
 * @returns {(now_s: number, blips: {at_s: number, height: number}[]) => void}
 */
export function drawTrace(strip) {
  strip.setAttribute("viewBox", `0 0 ${TRACE_WIDTH} 40`);
  strip.setAttribute("preserveAspectRatio", "none");
  const line = svg("polyline", { class: "trace-line", "vector-effect": "non-scaling-stroke" });
  strip.append(line);
  return (now_s, blips) => {
    const points = ["0,34"];
    for (const { at_s, height } of blips) {
      const x = TRACE_WIDTH * (1 - (now_s - at_s) / TRACE_S);
      if (x < 4 || x > TRACE_WIDTH) continue;
      const top = 34 - 30 * height;
      points.push(`${(x - 3).toFixed(1)},34`, `${x.toFixed(1)},${top.toFixed(1)}`, `${(x + 6).toFixed(1)},34`);
    }
    points.push(`${TRACE_WIDTH},34`);
    line.setAttribute("points", points.join(" "));
  };
}
