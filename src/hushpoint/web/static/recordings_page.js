// The recording's page: sound and needle together, the needle drawn as late as the sound takes to the ear.

import { drawDial } from "./bench_dial.js";
import { byId, inputById } from "./bench_dom.js";
import { steadyClock } from "./bench_needle.js";
import { joined } from "./bench_rule.js";
import { latencyOf, wokenContext } from "./device.js";
import { Player, placeBefore } from "./recordings_play.js";

/** Sound is heard from this long before an end [s]. */
const BEFORE_S = 6;
/** A hole in the pressure longer than this is said [s]. */
const HOLE_S = 1.5;

const hear = byId("hear");
const address = `/recordings/${hear.dataset.recording}`;
const play = byId("play");
const place = inputById("place");
const half = inputById("half");
const louder = /** @type {HTMLSelectElement} */ (byId("louder"));
const turn = drawDial(byId("dial"));

/** @type {Player | null} */
let player = null;
/** @type {{time_s: number[], mmhg: number[]}} */
let pressure = { time_s: [0], mmhg: [0] };
/** @type {AudioContext | null} */
let context = null;
const steady = steadyClock();
/** Where the needle was drawn, for those who check it. @type {{place_s: number, mmhg: number, context_s: number}[]} */
const trace = [];

/** @param {string} words */
function say(words) {
  byId("hear-state").textContent = words;
}

async function loaded() {
  context ??= await wokenContext();
  await context.resume();
  if (player) return player;
  say("Fetching the sound.");
  const answers = await Promise.all(["sound.wav", "pressure.json"].map((name) => fetch(`${address}/${name}`, { cache: "no-store" })));
  const refused = answers.find((one) => !one.ok);
  if (refused) throw new Error((await refused.json().catch(() => ({}))).error);
  pressure = await answers[1].json();
  player = new Player(context, await context.decodeAudioData(await answers[0].arrayBuffer()));
  player.onEnd = () => told("At the end.");
  player.goTo(Number(place.value));
  setSpeed();
  setLoudness();
  return player;
}

/** @param {string} words */
function told(words) {
  play.textContent = player?.playing ? "Pause" : "Play";
  say(words);
}

function setSpeed() {
  player?.setSpeed(half.checked ? 0.5 : 1);
}

function setLoudness() {
  if (player) player.volume.gain.value = 10 ** (Number(louder.value) / 20);
}

/** @param {(player: Player) => void} act */
async function withPlayer(act) {
  try {
    act(await loaded());
  } catch (trouble) {
    const why = trouble instanceof Error && trouble.message;
    say(`The sound cannot be had: ${why || "the laptop does not answer"}. Load the page and press again.`);
    return;
  }
  told(player?.playing ? "Playing." : "Paused.");
}

play.addEventListener("click", () => {
  void withPlayer((it) => (it.playing ? it.stop(it.context.currentTime) : it.start()));
});
for (const button of hear.querySelectorAll("[data-before]")) {
  button.addEventListener("click", () => {
    void withPlayer((it) => {
      it.goTo(placeBefore(pressure, Number(button.getAttribute("data-before")), BEFORE_S));
      if (!it.playing) it.start();
    });
  });
}
place.addEventListener("input", () => {
  player?.goTo(Number(place.value));
  if (!player) words(Number(place.value));
});
half.addEventListener("change", setSpeed);
louder.addEventListener("change", setLoudness);

/** @param {number} at_s */
function words(at_s) {
  const minutes = Math.floor(at_s / 60);
  const told_s = `${minutes}:${String(Math.floor(at_s - 60 * minutes)).padStart(2, "0")}`;
  if (byId("place-words").textContent !== told_s) byId("place-words").textContent = told_s;
}

/** @param {number} at_s */
function noPressure(at_s) {
  const next = pressure.time_s.findIndex((one) => one >= at_s);
  return next === -1 || (next === 0 && pressure.time_s[0] - at_s > HOLE_S) || (next > 0 && pressure.time_s[next] - pressure.time_s[next - 1] > HOLE_S);
}

function frame() {
  requestAnimationFrame(frame);
  if (!player || !context) return;
  const heard_s = steady(context.currentTime, performance.now() / 1000) - latencyOf(context);
  const at_s = player.placeAt(heard_s);
  const mmhg = joined(at_s, pressure.time_s, pressure.mmhg);
  turn(mmhg);
  if (!player.playing) return;
  trace.push({ place_s: at_s, mmhg, context_s: heard_s });
  if (trace.length > 3000) trace.shift();
  place.value = String(at_s);
  words(at_s);
  const missing = noPressure(at_s) ? "Playing; no pressure was recorded here, the needle stands." : "Playing.";
  if (byId("hear-state").textContent !== missing) say(missing);
}
requestAnimationFrame(frame);

// Facts for browser tests, to be read only.
Object.assign(window, { hushpoint: { facts: () => ({ trace, player, context, pressure }) } });
