// A learner's phone in a round: get ready, wait, listen with the whole class, write, seal, see the own error.

import { answersBox } from "./answers.js";
import { drawDial } from "./bench_dial.js";
import { ask, byId, el } from "./bench_dom.js";
import { banner, say, show } from "./bench_stage.js";
import { setting } from "./bench_store.js";
import { PROFILE_WORDS, profile, wokenContext } from "./device.js";
import { clearPair, pairWords, readPair, watchPair } from "./pair_fields.js";
import { Player } from "./player.js";
import { askServerTime, readClock } from "./server_clock.js";
import { follow as followStream } from "./stream.js";

/**
 * @typedef {{round: string | null, state: "none" | "open" | "started" | "opened" | "cancelled", starts?: number,
 *   starts_at_ms?: number | null, sealed?: string | null}} Told
 * @typedef {{sealed: boolean, kind: string, ends: Record<string, {truth: string, key: number, wrote: number | null, off: string | null}>}} Result
 */

const turnNeedle = drawDial(byId("dial"));
/** @type {AudioContext | null} */
let context = null;
/** @type {Player | null} */
let player = null;
/** @type {import("./server_clock.js").Clock | null} */
let clock = null;
/** @type {Told} */
let told = { round: null, state: "none" };
/** The round whose measurement is loaded, and which of its starts was taken up. */
let loaded = "";
let taken = 0;
/** The pair on its way or acknowledged, by round. @type {Record<string, string>} */
const written = {};

const box = answersBox(
  () => void follow(),
  (_id, why) => {
    banner(`Not counted: ${why}`);
    void follow();
  },
);

/** @param {string} words */
function heading(words) {
  if (byId("play-words").textContent !== words) byId("play-words").textContent = words;
}

function chosen() {
  const one = document.querySelector('input[name="profile"]:checked');
  return /** @type {import("./device.js").Profile} */ (one instanceof HTMLInputElement ? one.value : "headphones");
}

async function getReady() {
  const round = told.round;
  if (!round) return;
  const button = /** @type {HTMLButtonElement} */ (byId("get-ready"));
  button.disabled = true;
  try {
    context ??= await wokenContext();
    player ??= new Player(context, turnNeedle, () => heading("Over. Write what you heard, then seal."));
    const from = `/practise/rounds/${round}`;
    player.profile = chosen();
    await player.load(`${from}/sound.wav?for=${chosen()}`, `${from}/needle`);
    clock = await readClock(askServerTime, () => performance.now());
    const { status, data } = await ask("POST", `${from}/ready`, { profile: chosen() });
    if (status >= 300) throw new Error(data.error);
    banner("");
    setting("profile", chosen());
    loaded = round;
    taken = 0;
    clearPair();
    heading("Ready. Wait for the start.");
    show("play");
    await follow();
  } catch (trouble) {
    banner(trouble instanceof Error && trouble.message.length < 120 ? `Not ready: ${trouble.message}` : "Not ready. Try again.");
  } finally {
    button.disabled = false;
  }
}

/** Do what the round asks of this phone as it stands. */
async function follow() {
  const { round, state } = told;
  if (!round || state === "none" || state === "cancelled") {
    player?.stop();
    byId("none-words").textContent =
      state === "cancelled"
        ? "The round was cancelled; nothing of it counts. Keep this page open for the next."
        : "No round at the moment. Keep this page open: it comes by itself.";
    return show("none");
  }
  if (state === "opened") {
    player?.stop();
    return showResult(round);
  }
  const mine = told.sealed ?? written[round];
  if (mine) {
    byId("sealed-pair").textContent = mine;
    const waits = box.waiting().some((one) => one.measurement === `/practise/rounds/${round}/answer`);
    byId("sealed-words").textContent = waits ? "On its way." : "Nobody sees it. Wait until the answers are open.";
    return show("sealed");
  }
  if (loaded !== round || !player || !clock) return show("ready");
  if (byId("bench").dataset.stage !== "play") show("play");
  const starts = told.starts ?? 0;
  if (state === "started" && starts > taken && told.starts_at_ms) {
    taken = starts;
    player.playAt(told.starts_at_ms - clock.offset_ms);
    countIn();
  }
}

/** Plain words until the start; then listening is told, and nothing is spoken over the sounds. */
function countIn() {
  if (!player || !clock || !told.starts_at_ms) return;
  const left_s = Math.ceil((told.starts_at_ms - clock.offset_ms - performance.now()) / 1000);
  if (!player.playing) return;
  heading(left_s > 0 ? `Starts in ${left_s} s` : "Listen");
  if (left_s > 0) setTimeout(countIn, 200);
}

/** @param {string} round */
async function showResult(round) {
  if (byId("bench").dataset.stage === "opened" && byId("opened-lines").dataset.round === round) return;
  const { status, data } = await ask("GET", `/practise/rounds/${round}/result`);
  if (status !== 200) return banner(data.error ?? "The answers could not be had. Load the page again.");
  const found = /** @type {Result} */ (data);
  byId("opened-lines").dataset.round = round;
  byId("opened-lines").replaceChildren(
    el("p", {}, `It was ${found.kind}.`),
    ...Object.entries(found.ends).map(([end, one]) =>
      el("p", { class: "off-line" }, `${end}: ${one.key}${one.truth === String(one.key) ? "" : ` (truth ${one.truth}, key the nearest 2)`}. ${one.off === null ? (found.sealed ? "You: not heard." : "You sealed nothing.") : `You wrote ${one.wrote}: ${one.off}.`}`),
    ),
  );
  show("opened");
}

/** @param {Event} event */
function seal(event) {
  event.preventDefault();
  const round = told.round;
  const pair = readPair();
  if (!round || !pair) return;
  written[round] = pairWords(pair);
  player?.stop();
  say("Sealed.");
  void box.add(`/practise/rounds/${round}/answer`, { reading: pair });
  void follow();
}

function tellProfile() {
  byId("profile-words").textContent = PROFILE_WORDS[chosen()];
  byId("get-ready").textContent = chosen() === "headphones" ? "Earphones in: get ready" : "Get ready";
}

for (const one of document.querySelectorAll('input[name="profile"]')) {
  if (one instanceof HTMLInputElement) one.checked = one.value === profile();
  one.addEventListener("change", tellProfile);
}
tellProfile();
watchPair();
byId("get-ready").addEventListener("click", () => void getReady());
byId("reading").addEventListener("submit", seal);
document.addEventListener("visibilitychange", () => {
  if (!document.hidden) void context?.resume();
});
void box.sendAll();

/** @param {string} data */
function tell(data) {
  told = JSON.parse(data);
  if (byId("banner").textContent?.startsWith("Connection lost. What")) banner("");
  void follow();
}
followStream("/practise/round/events", "round", tell, () =>
  banner("Connection lost. What you see is from before; it goes on by itself."),
);

// Facts for browser tests, to be read only: when the first sample was due and when it was given to the audio clock.
Object.assign(window, {
  hushpoint: {
    facts: () => ({
      clock,
      starts_at_ms: told.starts_at_ms,
      started_ms: player && player.zero_s !== null ? performance.timeOrigin + 1000 * (player.zero_s - player.ahead_s()) : null,
      playing: player?.playing ?? false,
      seconds: player?.seconds ?? 0,
    }),
  },
});
