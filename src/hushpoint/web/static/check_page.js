// The device check: a first sound, then "in which half?" taps by a staircase on the server, then flash and click.

import { ask, byId, inputById } from "./bench_dom.js";
import { banner, say, show } from "./bench_stage.js";
import { setting } from "./bench_store.js";
import { PROFILE_WORDS, latencyOf, profile, wokenContext } from "./device.js";

const KNOCKS = 5;
const BEAT_S = 0.8;
/** A half of a tap, and where in it the knock falls [s]. */
const HALF_S = 0.7;
const INTO_HALF_S = 0.2;
const CLICK_EVERY_S = 1.2;
const FLASH_S = 0.1;

/** @type {AudioContext | null} */
let context = null;
/** @type {Record<string, AudioBuffer>} */
const buffers = {};
/** @type {[number, boolean][]} */
let answers = [];
let level_db = 0;
/** @type {"first" | "second"} */
let half = "first";
/** Whether a tap is taken now. */
let open = false;
/** @type {ReturnType<typeof setTimeout>[]} */
let timers = [];
/** Times of the clicks on the audio clock [s]. @type {number[]} */
let clicks = [];
/** Taps of any button so far, for those who count them. */
let pressed = 0;

function chosen() {
  const one = document.querySelector('input[name="profile"]:checked');
  return /** @type {import("./device.js").Profile} */ (one instanceof HTMLInputElement ? one.value : "headphones");
}

/** @param {string} phase */
async function bufferOf(phase) {
  const name = `${chosen()} ${phase}`;
  context ??= await wokenContext();
  if (!buffers[name]) {
    const answer = await fetch(`/practise/check/sound/${phase}.wav?for=${chosen()}`);
    if (!answer.ok) throw new Error(`no sound: ${answer.status}`);
    buffers[name] = await context.decodeAudioData(await answer.arrayBuffer());
  }
  return buffers[name];
}

/**
 * @param {AudioBuffer} buffer
 * @param {number} at_s
 * @param {number} gain_db
 */
function knock(buffer, at_s, gain_db) {
  if (!context) return;
  const source = context.createBufferSource();
  const volume = context.createGain();
  source.buffer = buffer;
  volume.gain.value = 10 ** (gain_db / 20);
  source.connect(volume).connect(context.destination);
  source.start(at_s);
  source.onended = () => volume.disconnect();
}

/** @param {() => Promise<void>} act */
async function tried(act) {
  try {
    banner("");
    await act();
  } catch {
    banner("No connection, or no sound on this device. Try again.");
  }
}

async function play() {
  const buffer = await bufferOf("III");
  if (!context) return;
  for (let n = 0; n < KNOCKS; n += 1) knock(buffer, context.currentTime + 0.1 + n * BEAT_S, 0);
  byId("played-words").textContent = "Playing.";
  byId("after-sound").hidden = false;
}

async function next() {
  const { status, data } = await ask("POST", "/practise/check/step", { profile: chosen(), answers });
  if (status !== 200) return banner(data.error ?? "The server did not take this. Load the page again.");
  if (data.done) return finish(data);
  level_db = data.level_db;
  half = crypto.getRandomValues(new Uint8Array(1))[0] % 2 ? "first" : "second";
  byId("tap-words").textContent = `${data.taps} taps made.`;
  await present();
}

/** Both halves light up in turn; the knock falls into one of them. */
async function present() {
  const buffer = await bufferOf("IV");
  if (!context) return;
  for (const timer of timers) clearTimeout(timer);
  open = false;
  const from_s = context.currentTime + 0.25;
  knock(buffer, from_s + INTO_HALF_S + (half === "second" ? HALF_S : 0), level_db);
  const light = (/** @type {string} */ id, /** @type {boolean} */ on) => byId(id).classList.toggle("lit", on);
  const late_s = 0.25 + latencyOf(context);
  timers = [
    setTimeout(() => light("first", true), 1000 * late_s),
    setTimeout(() => {
      light("first", false);
      light("second", true);
    }, 1000 * (late_s + HALF_S)),
    setTimeout(() => {
      light("second", false);
      open = true;
    }, 1000 * (late_s + 2 * HALF_S)),
  ];
}

/** @param {"first" | "second"} told */
function tap(told) {
  if (!open) return;
  open = false;
  answers.push([level_db, told === half]);
  void tried(next);
}

/** @param {{carries: boolean, level_db: number, words: string, sign_off: boolean}} found */
function finish(found) {
  setting(`level-db-${chosen()}`, String(found.level_db));
  setting("profile", chosen());
  byId("result-first").textContent = found.carries ? "This device carries the faintest sounds" : "Not yet";
  byId("result-words").textContent = `${found.words} ${PROFILE_WORDS[chosen()]}`;
  byId("once-more").classList.toggle("primary", !found.carries);
  show("result");
  say(found.words);
}

function startTaps() {
  answers = [];
  show("taps");
  void tried(next);
}

function stopTaps() {
  for (const timer of timers) clearTimeout(timer);
  open = false;
  show("sound");
}

async function startDelay() {
  const buffer = await bufferOf("III");
  if (!context) return;
  const kept = setting("delay-ms");
  inputById("delay").value = kept === "" ? String(Math.round(1000 * latencyOf(context))) : kept;
  tellDelay();
  show("delay");
  clicks = [context.currentTime + 0.5];
  knock(buffer, clicks[0], 0);
  requestAnimationFrame(() => flash(buffer));
}

/** @param {AudioBuffer} buffer */
function flash(buffer) {
  if (!context || byId("bench").dataset.stage !== "delay") return;
  const last = clicks[clicks.length - 1];
  if (context.currentTime > last) {
    clicks = [...clicks.slice(-3), last + CLICK_EVERY_S];
    knock(buffer, last + CLICK_EVERY_S, 0);
  }
  const at_s = context.currentTime - Number(inputById("delay").value) / 1000;
  const lit = clicks.some((one) => at_s >= one && at_s < one + FLASH_S);
  byId("flash").classList.toggle("lit", lit);
  requestAnimationFrame(() => flash(buffer));
}

function tellDelay() {
  byId("delay-ms").textContent = inputById("delay").value;
}

/** @param {string} kept */
function keepDelay(kept) {
  setting("delay-ms", kept);
  show("result");
}

function tellProfile() {
  byId("profile-words").textContent = PROFILE_WORDS[chosen()];
}

for (const one of document.querySelectorAll('input[name="profile"]')) {
  if (one instanceof HTMLInputElement) one.checked = one.value === profile();
  one.addEventListener("change", tellProfile);
}
tellProfile();
byId("play").addEventListener("click", () => void tried(play));
byId("heard").addEventListener("click", startTaps);
byId("not-heard").addEventListener("click", () => {
  byId("nothing").hidden = false;
});
byId("first").addEventListener("click", () => tap("first"));
byId("second").addEventListener("click", () => tap("second"));
byId("again").addEventListener("click", () => void tried(present));
byId("stop-taps").addEventListener("click", stopTaps);
byId("once-more").addEventListener("click", startTaps);
byId("to-delay").addEventListener("click", () => void tried(startDelay));
inputById("delay").addEventListener("input", tellDelay);
byId("keep-delay").addEventListener("click", () => keepDelay(inputById("delay").value));
byId("forget-delay").addEventListener("click", () => keepDelay(""));
document.addEventListener("keydown", (event) => {
  if (byId("bench").dataset.stage !== "taps") return;
  if (event.key === "1") tap("first");
  if (event.key === "2") tap("second");
});
document.addEventListener("click", () => {
  pressed += 1;
});

// Facts for browser tests, to be read only: what a listener would hear of the tap that waits.
Object.assign(window, { hushpoint: { facts: () => ({ open, level_db, half, taps: answers.length, pressed, context }) } });
