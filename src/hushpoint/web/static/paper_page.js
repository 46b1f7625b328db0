// A listening paper on a phone: one measurement after another, each play counted before it is heard, each pair sealed.

import { answersBox } from "./answers.js";
import { drawDial } from "./bench_dial.js";
import { ask, byId } from "./bench_dom.js";
import { banner, say, show } from "./bench_stage.js";
import { wokenContext } from "./device.js";
import { clearPair, readPair, watchPair } from "./pair_fields.js";
import { Player } from "./player.js";

/**
 * @typedef {{place: number, plays: number, sealed: boolean}} Place
 * @typedef {{size: number, plays_allowed: number, places: Place[], handed_in: boolean}} State
 */

const attempt = byId("bench").dataset.attempt ?? "";
const base = `/practise/attempts/${attempt}`;
const turnNeedle = drawDial(byId("dial"));
const playButton = /** @type {HTMLButtonElement} */ (byId("play"));
/** @type {Player | null} */
let player = null;
/** @type {State | null} */
let state = null;
/** @type {Place | null} */
let current = null;
/** Places sealed on this page, on their way or there. @type {Set<number>} */
const sealed = new Set();

const box = answersBox(
  () => void whenSent(),
  (_path, why) => {
    banner(`Not taken: ${why}`);
    sealed.clear();
    show("begin");
  },
);

const pathOf = (/** @type {number} */ place) => `${base}/${place}/answer`;
const waits = (/** @type {number} */ place) => box.waiting().some((one) => one.measurement === pathOf(place));

/** @param {() => Promise<void>} act */
async function tried(act) {
  playButton.disabled = true;
  try {
    await act();
  } catch (trouble) {
    banner(trouble instanceof Error && trouble.message.length < 120 ? `Not yet: ${trouble.message}` : "No connection. Try again.");
  } finally {
    playButton.disabled = false;
    tellPlays();
  }
}

async function begin() {
  player ??= new Player(await wokenContext(), turnNeedle, () => say("Over. Write what you heard, then seal."));
  player.profile = /** @type {import("./device.js").Profile} */ (byId("bench").dataset.profile ?? player.profile);
  await next();
}

/** Go to the first measurement that is not sealed, and load it. */
async function next() {
  const { status, data } = await ask("GET", `${base}/state`);
  if (status !== 200) throw new Error(data.error);
  state = /** @type {State} */ (data);
  current = state.places.find((one) => !one.sealed && !sealed.has(one.place) && !waits(one.place)) ?? null;
  if (!current) return whenSent();
  byId("play-words").textContent = `Measurement ${current.place} of ${state.size}`;
  clearPair();
  show("play");
  banner("");
  await player?.load(`${base}/${current.place}/sound.wav`, `${base}/${current.place}/needle`);
}

function tellPlays() {
  if (!state || !current) return;
  const left = state.plays_allowed - current.plays;
  playButton.hidden = left <= 0;
  byId("plays-left").textContent =
    left > 0 ? `It plays ${left === 1 ? "once" : `${left} times`}${current.plays ? " more" : ""}.` : "Played. Write what you heard, then seal.";
}

/** Count the play, then let it be heard. */
async function play() {
  if (!current || !player) return;
  if (!player.buffer) await player.load(`${base}/${current.place}/sound.wav`, `${base}/${current.place}/needle`);
  const { status, data } = await ask("POST", `${base}/${current.place}/play`, { number: current.plays + 1 });
  if (status >= 300) throw new Error(data.error);
  current.plays = data.plays;
  banner("");
  player.play();
}

/** @param {Event} event */
function seal(event) {
  event.preventDefault();
  const pair = readPair();
  if (!pair || !current) return;
  player?.stop();
  sealed.add(current.place);
  say("Sealed.");
  void box.add(pathOf(current.place), { reading: pair });
  void tried(next);
}

/** With everything sealed and stored, the attempt is handed in: on to its result. */
async function whenSent() {
  const done = state && state.places.every((one) => one.sealed || sealed.has(one.place) || waits(one.place));
  if (!done) return;
  show("sending");
  if (box.waiting().some((one) => one.measurement.startsWith(base))) return;
  location.assign(`${base}/result`);
}

watchPair();
byId("to-first").addEventListener("click", () => void tried(begin));
playButton.addEventListener("click", () => void tried(play));
byId("reading").addEventListener("submit", seal);
byId("hand-in").addEventListener("submit", (event) => {
  if (!box.waiting().some((one) => one.measurement.startsWith(base))) return;
  event.preventDefault();
  banner("An answer is still on its way. Hand in when it has arrived.");
});
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) void player?.context.resume();
});
void box.sendAll();

// Facts for browser tests, to be read only.
Object.assign(window, {
  hushpoint: { facts: () => ({ playing: player?.playing ?? false, seconds: player?.seconds ?? 0, place: current?.place ?? 0 }) },
});
