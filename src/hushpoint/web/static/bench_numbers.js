// Two plain fields, systolic and diastolic, each with "Not heard" beside it.

import { byId, inputById } from "./bench_dom.js";
import { whole } from "./bench_stage.js";

/** @param {string} id */
export function notHeard(id) {
  return byId(`${id}-not`).getAttribute("aria-pressed") === "true";
}

/**
 * @param {string} id
 * @param {boolean} pressed
 */
export function setNotHeard(id, pressed) {
  byId(`${id}-not`).setAttribute("aria-pressed", String(pressed));
  inputById(id).disabled = pressed;
  if (pressed) inputById(id).value = "";
}

/**
 * Both numbers as written, or null with the note filled in.
 * @param {string} before prefix of the fields' ids
 * @param {string} note
 */
export function bothNumbers(before, note) {
  /** @type {Record<string, number | null>} */
  const both = {};
  for (const name of ["systolic", "diastolic"]) {
    const id = `${before}${name}`;
    both[name] = notHeard(id) ? null : whole(inputById(id).value);
    if (both[name] === null && !notHeard(id)) {
      byId(note).textContent = `${name}: a whole number from 0 to 300, or "Not heard".`;
      byId(id).focus();
      return null;
    }
  }
  byId(note).textContent = "";
  return { systolic: both.systolic, diastolic: both.diastolic };
}
