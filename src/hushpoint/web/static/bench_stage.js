// Stages of the page, what is said, and acts of the contract.

import { ask, byId } from "./bench_dom.js";
import { Wait } from "./bench_wait.js";

/** @param {string} stage */
export function show(stage) {
  byId("bench").dataset.stage = stage;
  for (const section of byId("bench").querySelectorAll("[data-show]")) {
    section.toggleAttribute("hidden", section.getAttribute("data-show") !== stage);
  }
  const first = byId("bench").querySelector(`[data-show="${stage}"] [tabindex="-1"]`);
  if (first instanceof HTMLElement) first.focus();
  window.scrollTo(0, 0);
}

/** @param {string} words spoken by a screen reader; never while sounds are listened for */
export function say(words) {
  byId("said").textContent = words;
}

/** @param {string} words */
export function banner(words) {
  byId("banner").textContent = words;
  byId("banner").toggleAttribute("hidden", !words);
}

/** The wait with the cuff empty, shown wherever the page has a place for it. */
export const wait = new Wait(
  () => Date.now(),
  (words) => {
    for (const place of document.querySelectorAll("[data-wait]")) place.textContent = words;
  },
  say,
);

/**
 * An act of the contract; a refusal or a lost connection is told on the banner and gives null.
 * @param {string} path
 * @param {unknown} body
 */
export async function act(path, body) {
  try {
    const { status, data } = await ask("POST", path, body);
    if (status < 300) {
      banner("");
      return data;
    }
    banner(data.error ?? "The server did not take this. Load the page again.");
  } catch {
    banner("No connection. Try again when the network is back.");
  }
  return null;
}

/**
 * A whole number from 0 to 300, or null.
 * @param {string} text
 */
export function whole(text) {
  const tidy = text.trim();
  return /^\d{1,3}$/.test(tidy) && Number(tidy) <= 300 ? Number(tidy) : null;
}
