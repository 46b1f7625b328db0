// Small line drawings beside the set-up rows, one a row; each stands beside its words.

import { svg } from "./bench_dom.js";

/** @type {Record<string, string>} paths in a box of 64 by 48 */
const PATHS = {
  asking: "M6 8h34v22H20l-8 8v-8H6zM46 16h12v16h-4v6l-6-6h-8",
  cuff: "M8 12c16-6 32-6 48 0v24c-16 6-32 6-48 0zM8 24h48M40 10v28",
  rest: "M32 6a18 18 0 1 0 .1 0M32 12v12l9 6",
  posture: "M28 8a4 4 0 1 0 .1 0M24 16h9l2 14h12v12M24 16v18M14 10v34M14 34h24v10",
  arm: "M10 14c10 0 14 4 20 12h26M10 26c8 2 10 8 16 8h30M8 40h52",
  marker: "M10 12h44v24H10zM32 12v16m-5-5 5 6 5-6",
  snug: "M8 20c16-8 32-8 48 0v16c-16 8-32 8-48 0zM28 6v14m8-14v14",
  head: "M32 22a10 10 0 1 0 .1 0M32 26a6 6 0 1 0 .1 0M40 26c10-6 8-16 20-20",
  ears: "M14 8c0 16 6 18 18 20c12-2 18-4 18-20M32 28v8a6 6 0 1 0 .1 0M10 8h6m32 0h6",
};

/** @param {string} row */
export function drawing(row) {
  const path = svg("path", { d: PATHS[row] ?? "" });
  return svg("svg", { viewBox: "0 0 64 48", class: "drawing", "aria-hidden": "true" }, path);
}
