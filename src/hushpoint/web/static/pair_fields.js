// The two fields of a pair as written: read once, asked about when the wrong way round, cleared for the next.

import { byId, inputById } from "./bench_dom.js";
import { bothNumbers, notHeard, setNotHeard } from "./bench_numbers.js";

const ENDS = ["systolic", "diastolic"];
/** The pair that was asked about and stands if sent again. */
let asked = "";

export function watchPair() {
  for (const id of ENDS) byId(`${id}-not`).addEventListener("click", () => setNotHeard(id, !notHeard(id)));
}

export function clearPair() {
  asked = "";
  byId("reading-missing").textContent = "";
  for (const id of ENDS) {
    setNotHeard(id, false);
    inputById(id).value = "";
  }
}

/** The pair, or null with the note filled in. A diastolic above systolic is asked about once. */
export function readPair() {
  const both = bothNumbers("", "reading-missing");
  if (!both) return null;
  const crossed = both.systolic !== null && both.diastolic !== null && both.diastolic > both.systolic;
  const written = pairWords(both);
  if (crossed && asked !== written) {
    asked = written;
    byId("reading-missing").textContent = "Diastolic is above systolic. Change them, or press once more to keep them as written.";
    return null;
  }
  return both;
}

/** @param {{systolic: number | null, diastolic: number | null}} pair */
export function pairWords({ systolic, diastolic }) {
  return `${systolic ?? "not heard"}/${diastolic ?? "not heard"}`;
}
