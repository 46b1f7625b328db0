// Bulb, valve and keys: tap or hold, relative drag, wheel, keyboard. What they do is told to the hand given.

import { byId } from "./bench_dom.js";

/**
 * @typedef {"mouse" | "touch" | "keyboard"} Input
 * @typedef {{squeeze: (input: Input) => void, move: (by: number, input: Input) => void,
 *   shut: (input: Input) => void, openFully: (input: Input) => void, speakNeedle: () => void, leave: () => void,
 *   active: () => boolean}} Hand
 */

/** Holding squeezes twice a second. */
const SQUEEZE_EVERY_MS = 500;
/** No slip ends a reading: opening fully must be held this long. */
const HOLD_MS = 300;
/** 1 % of the valve's travel is 3.4 px of drag. */
const TRAVEL_PX = 340;
const STEP = 0.01;
const FINE_STEP = 0.0025;

/** @param {Hand} hand */
export function readPad(hand) {
  const bulb = byId("bulb");
  const valve = byId("valve");
  const open = byId("open-fully");
  /** @type {ReturnType<typeof setInterval> | undefined} */
  let squeezing;
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let opening;

  const endSqueeze = () => clearInterval(squeezing);
  const beginSqueeze = (/** @type {Input} */ input) => {
    endSqueeze();
    hand.squeeze(input);
    squeezing = setInterval(() => hand.squeeze(input), SQUEEZE_EVERY_MS);
  };
  const endOpen = () => {
    clearTimeout(opening);
    open.classList.remove("held");
  };
  const beginOpen = (/** @type {Input} */ input) => {
    endOpen();
    open.classList.add("held");
    opening = setTimeout(() => hand.openFully(input), HOLD_MS);
  };

  held(bulb, beginSqueeze, endSqueeze);
  held(open, beginOpen, endOpen);
  // a press told by a screen reader comes as a click alone
  bulb.addEventListener("click", (event) => {
    if (event.detail === 0) hand.squeeze("keyboard");
  });
  open.addEventListener("click", (event) => {
    if (event.detail === 0) hand.openFully("keyboard");
  });

  dragged(valve, (by, input) => hand.move(by, input));
  byId("hands").addEventListener(
    "wheel",
    (event) => {
      if (!hand.active()) return;
      event.preventDefault();
      hand.move(Math.sign(event.deltaY) * STEP, "mouse");
    },
    { passive: false },
  );
  byId("pad").addEventListener("contextmenu", (event) => event.preventDefault());

  document.addEventListener("keydown", (event) => {
    if (!hand.active() || typing(event.target) || event.ctrlKey || event.metaKey || event.altKey) return;
    const step = event.shiftKey ? FINE_STEP : STEP;
    const fresh = !event.repeat;
    /** @type {Record<string, () => void>} */
    const acts = {
      " ": () => fresh && beginSqueeze("keyboard"),
      ArrowDown: () => hand.move(step, "keyboard"),
      j: () => hand.move(step, "keyboard"),
      ArrowUp: () => hand.move(-step, "keyboard"),
      k: () => hand.move(-step, "keyboard"),
      Home: () => hand.shut("keyboard"),
      o: () => fresh && beginOpen("keyboard"),
      n: () => fresh && hand.speakNeedle(),
      Escape: () => hand.leave(),
    };
    const act = acts[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!act) return;
    event.preventDefault();
    act();
  });
  document.addEventListener("keyup", (event) => {
    if (event.key === " ") endSqueeze();
    if (event.key.toLowerCase() === "o") endOpen();
  });
  window.addEventListener("blur", () => {
    endSqueeze();
    endOpen();
  });
}

/** @param {EventTarget | null} target */
function typing(target) {
  return target instanceof Element && target.closest("input, textarea, select, dialog, summary") !== null;
}

/** @param {PointerEvent} event @returns {Input} */
function inputOf(event) {
  return event.pointerType === "mouse" ? "mouse" : "touch";
}

/**
 * @param {HTMLElement} button
 * @param {(input: Input) => void} begin
 * @param {() => void} end
 */
function held(button, begin, end) {
  button.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    button.setPointerCapture(event.pointerId);
    begin(inputOf(event));
  });
  for (const name of ["pointerup", "pointercancel", "lostpointercapture"]) button.addEventListener(name, end);
}

/**
 * Relative drag: the valve stays where it is left; lift, go back and go on.
 * @param {HTMLElement} element
 * @param {(by: number, input: Input) => void} move
 */
function dragged(element, move) {
  /** @type {number | null} */
  let from = null;
  element.addEventListener("pointerdown", (event) => {
    element.setPointerCapture(event.pointerId);
    from = event.clientY;
  });
  element.addEventListener("pointermove", (event) => {
    if (from === null) return;
    move((event.clientY - from) / TRAVEL_PX, inputOf(event));
    from = event.clientY;
  });
  for (const name of ["pointerup", "pointercancel"]) {
    element.addEventListener(name, () => {
      from = null;
    });
  }
}
