// The bench: from the practise person met to the judgement read. Stages: begin, case, ready, pulse, hands (feel, then
// listen, then write), sending, judged.

import { drawDial, drawTrace } from "./bench_dial.js";
import { ask, byId, el, inputById, newId, setting } from "./bench_dom.js";
import { drawing } from "./bench_drawings.js";
import { showJudgement } from "./bench_judged.js";
import { bounceMmhg, followed, pulseShape, steadyClock } from "./bench_needle.js";
import { Outbox } from "./bench_outbox.js";
import { readPad } from "./bench_pad.js";
import { CuffRun } from "./bench_run.js";
import { BeatSounds } from "./bench_sound.js";

/**
 * @typedef {import("./bench_sound.js").ArmTable} ArmTable
 * @typedef {import("./bench_pad.js").Input} Input
 * @typedef {{id: string, asks: string, choices: {id: string, words: string}[]}} Row
 * @typedef {{measurement: string, case: {number: number, line: string}, guided: boolean, rows: Row[],
 *   policy: {name: string, inflation: string, inflation_mmhg: number, release_mmhg_per_s: number[],
 *   palpation_asked: boolean, wait_after_palpation_s: number, wait_between_s: number}}} Begun
 * @typedef {{from_s: number, seconds: number, count: number, regular: boolean}} Pulse
 */

const TICK_MS = 25;
/** The cuff is empty below this pressure, once it has been above the lowest peak that counts [mmHg]. */
const EMPTY_MMHG = 2;
const LOWEST_PEAK_MMHG = 40;
const LONGEST_S = 590;
const WRIST_DELAY_S = 0.1;
const JUDGEMENT_EVERY_MS = 250;
const HINTED_READINGS = 3;

const bench = byId("bench");
const turnNeedle = drawDial(byId("dial"));
const drawPulseLine = drawTrace(byId("pulse-line"));
const drawLine = drawTrace(byId("line"));

/** @type {AudioContext | null} */
let context = null;
/** @type {Begun | null} */
let begun = null;
/** @type {Record<string, string>} */
let choices = {};
/** @type {ArmTable | null} */
let table = null;
/** @type {BeatSounds | null} */
let sounds = null;
let run = new CuffRun({ step_s: 1, compliance_ml: [1, 1, 1], squeeze_ml: [0, 0, 0], tau_s: [1, 1], dead_band: 0, hand_lag_s: 1, sag: [] });
/** @type {ReturnType<typeof setInterval> | undefined} */
let ticking;
/** @type {"pulse" | "feel" | "listen" | "write" | "off"} */
let doing = "off";
/** @type {Pulse | null} */
let pulse = null;
/** @type {number | null} */
let palpated = null;
let zero_s = 0;
let peak_mmhg = 0;
let emptySince_s = 0;
let spoken = false;
let repeated = false;
let judged = "";
/** @type {Record<Input, number>} */
let inputs = { mouse: 0, touch: 0, keyboard: 0 };

// ---------------------------------------------------------------- stages and words

/** @param {string} stage */
function show(stage) {
  bench.dataset.stage = stage;
  for (const section of bench.querySelectorAll("[data-show]")) {
    section.toggleAttribute("hidden", section.getAttribute("data-show") !== stage);
  }
  const first = bench.querySelector(`[data-show="${stage}"] [tabindex="-1"]`);
  if (first instanceof HTMLElement) first.focus();
  window.scrollTo(0, 0);
}

/** @param {string} words spoken by a screen reader; never while sounds are listened for */
function say(words) {
  byId("said").textContent = words;
}

/** @param {string} words */
function banner(words) {
  byId("banner").textContent = words;
  byId("banner").toggleAttribute("hidden", !words);
}

/**
 * An act of the contract; a refusal or a lost connection is told on the banner and gives null.
 * @param {string} path
 * @param {unknown} body
 */
async function act(path, body) {
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

// ---------------------------------------------------------------- meeting and setting up

/**
 * @param {boolean} guided
 * @param {string | null} again
 */
async function begin(guided, again) {
  const answer = await act("/practise/measurements", { ref: newId(), guided, again });
  if (!answer) return false;
  begun = /** @type {Begun} */ ({ guided, ...answer });
  repeated = again !== null;
  byId("case-line").textContent = begun.case.line;
  byId("hands-case-line").textContent = begun.case.line;
  byId("case-policy").textContent = policyWords(begun);
  byId("rows").replaceChildren(...begun.rows.map(rowFields));
  return true;
}

/** @param {Begun} now */
function policyWords({ policy }) {
  const [slow, fast] = policy.release_mmhg_per_s;
  const target = {
    palpated: `pump ${policy.inflation_mmhg} above the palpated value`,
    first_sound: `pump ${policy.inflation_mmhg} above the first sound`,
    fixed: `pump to ${policy.inflation_mmhg}`,
  }[policy.inflation];
  return `Asked here (${policy.name}): ${target}, release at ${slow} to ${fast} mmHg/s.`;
}

/** @param {Row} row */
function rowFields(row) {
  return el(
    "fieldset",
    { class: "row", id: `row-${row.id}` },
    el("legend", {}, drawing(row.id), row.asks),
    ...row.choices.map((choice) =>
      el("label", {}, el("input", { type: "radio", name: row.id, value: choice.id }), choice.words),
    ),
  );
}

/** @param {SubmitEvent} event */
async function setUp(event) {
  event.preventDefault();
  if (!begun) return;
  const form = new FormData(/** @type {HTMLFormElement} */ (byId("set-up")));
  const missing = begun.rows.filter((row) => !form.get(row.id));
  const note = byId("set-up-missing");
  note.textContent = missing.length ? `Still to choose: ${missing.map((row) => row.asks).join("; ")}.` : "";
  if (missing.length) {
    byId(`row-${missing[0].id}`).scrollIntoView({ block: "center" });
    return;
  }
  choices = Object.fromEntries(begun.rows.map((row) => [row.id, String(form.get(row.id))]));
  await sendSetUp();
}

async function sendSetUp() {
  if (!begun) return;
  const answer = await act(`/practise/measurements/${begun.measurement}/set-up`, { choices });
  if (!answer) return;
  table = /** @type {ArmTable} */ (answer);
  sessionStorage.setItem("hushpoint.choices", JSON.stringify({ measurement: begun.measurement, guided: begun.guided, choices }));
  const advice = table.advice ?? [];
  byId("advice").replaceChildren(
    ...advice.map((one) => el("p", { class: "advice" }, one.text, one.source ? el("small", {}, ` ${one.source}`) : "")),
  );
  const words = begun.rows.map((row) => row.choices.find((one) => one.id === choices[row.id])?.words ?? "");
  byId("hands-set-up").replaceChildren(...words.map((one) => el("li", {}, one)));
  show("ready");
  say(advice.length ? "Set up. There is advice." : "Set up.");
}

// ---------------------------------------------------------------- sound and clock

/** The audio context is made and woken in a click only. */
async function wakeSound() {
  context ??= new AudioContext({ latencyHint: "interactive" });
  const session = /** @type {{audioSession?: {type: string}}} */ (/** @type {unknown} */ (navigator)).audioSession;
  if (session) session.type = "playback"; // else the silent switch of a phone mutes it
  await context.resume();
  return context;
}

async function trySound() {
  if (!table) return;
  new BeatSounds(await wakeSound(), table, 0).tryOut("III");
}

async function start() {
  if (!table || !begun) return;
  const awake = await wakeSound();
  zero_s = awake.currentTime;
  sounds = new BeatSounds(awake, table, zero_s);
  run = new CuffRun(table.cuff);
  pulse = palpated = null;
  spoken = false;
  inputs = { mouse: 0, touch: 0, keyboard: 0 };
  needle = freshNeedle();
  byId("hands-who").textContent = `Person ${begun.case.number} · ${begun.guided ? "guided" : "unguided"}`;
  showValve();
  clearInterval(ticking);
  ticking = setInterval(tick, TICK_MS);
  if (repeated) toHands();
  else toPulse();
}

/** Clock of the measurement [s]. */
function clock() {
  return context ? context.currentTime - zero_s : 0;
}

/** How long the sound takes from the context to the ear [s]; it changes, so it is asked each time. */
function latency() {
  return context ? context.outputLatency || context.baseLatency || 0 : 0;
}

function tick() {
  if (doing === "off" || !sounds) return;
  if (clock() > LONGEST_S) return runOut();
  if (doing === "write") return;
  run.advance(clock());
  sounds.plan(clock(), pressureAt);
  peak_mmhg = Math.max(peak_mmhg, run.now_mmhg);
  if (doing !== "pulse") handleCuff();
}

const pressureAt = (/** @type {number} */ at_s) => run.pressureAt(at_s);

function runOut() {
  stop();
  banner("Ten minutes are over: this measurement is let go, nothing of it is written. Begin another.");
  show("begin");
}

function stop() {
  doing = "off";
  clearInterval(ticking);
  sounds?.silence();
}

// ---------------------------------------------------------------- the picture, drawn late by the output latency

function freshNeedle() {
  return {
    steady: steadyClock(),
    drawn_s: 0,
    mmhg: 0,
    beat: -1,
    bounce: 0,
    next: 0,
    /** @type {{at_s: number, height: number}[]} */
    blips: [],
    /** @type {{page_s: number, clock_s: number, mmhg: number}[]} */
    trace: [],
  };
}
let needle = freshNeedle();

/** @param {number} page_ms */
function frame(page_ms) {
  requestAnimationFrame(frame);
  if (doing === "off" || !context || !table || !sounds) return;
  const at_s = needle.steady(context.currentTime, performance.now() / 1000) - zero_s - latency();
  moveNeedle(Math.max(0, at_s));
  if (doing === "pulse") drawPulseLine(at_s, needle.blips);
  else drawLine(at_s, needle.blips);
  turnNeedle(needle.mmhg);
  needle.trace.push({ page_s: page_ms / 1000, clock_s: at_s, mmhg: needle.mmhg });
  if (needle.trace.length > 3000) needle.trace.shift();
}

/** @param {number} to_s */
function moveNeedle(to_s) {
  if (!table) return;
  const { beats, upstroke_s } = table;
  while (needle.drawn_s < to_s - 1e-6) {
    const d_s = Math.min(0.01, to_s - needle.drawn_s);
    needle.drawn_s += d_s;
    while (beats.foot_s[needle.beat + 1] <= needle.drawn_s) nextBeat(needle.beat + 1);
    const line = run.pressureAt(needle.drawn_s);
    const since = needle.beat < 0 ? -1 : needle.drawn_s - beats.foot_s[needle.beat];
    const lifted = line > 0 ? line + needle.bounce * pulseShape(since, upstroke_s) : line;
    needle.mmhg = followed(needle.mmhg, lifted, d_s, table.needle.lag_s);
  }
}

/** @param {number} index */
function nextBeat(index) {
  if (!table || !sounds) return;
  needle.beat = index;
  const foot = table.beats.foot_s[index];
  const systolic = table.beats.systolic_mmhg[index];
  const at_foot = run.pressureAt(foot);
  needle.bounce = bounceMmhg(at_foot, systolic, table.beats.diastolic_mmhg[index], table.needle);
  if (doing === "pulse" || doing === "feel") {
    if (at_foot < systolic) blip(foot + WRIST_DELAY_S, 0.8);
  } else if (inputById("show-sounds").checked) {
    const played = sounds.planned.get(index);
    if (played) blip(played.at_s, Math.min(1, 0.3 + 0.7 * played.gain));
  }
}

/**
 * @param {number} at_s
 * @param {number} height
 */
function blip(at_s, height) {
  needle.blips = [...needle.blips.filter((one) => at_s - one.at_s < 6), { at_s, height }];
  if (doing !== "listen") navigator.vibrate?.(30);
}

// ---------------------------------------------------------------- resting pulse

function toPulse() {
  doing = "pulse";
  byId("pulse-choose").hidden = false;
  byId("pulse-form").hidden = true;
  byId("pulse-state").textContent = "";
  show("pulse");
}

/** @param {number} seconds */
function countPulse(seconds) {
  const from_s = Math.round(clock() * 100) / 100;
  byId("pulse-choose").hidden = true;
  byId("pulse-state").textContent = `Count now, for ${seconds} s.`;
  const watch = setInterval(() => {
    if (doing !== "pulse") return clearInterval(watch);
    if (clock() < from_s + seconds) return;
    clearInterval(watch);
    byId("pulse-state").textContent = `${seconds} s are over. Write the beats you counted.`;
    byId("pulse-form").hidden = false;
    byId("pulse-form").dataset.from = String(from_s);
    byId("pulse-form").dataset.seconds = String(seconds);
    byId("pulse-count").focus();
  }, 50);
}

/** @param {SubmitEvent} event */
function writePulse(event) {
  event.preventDefault();
  const form = /** @type {HTMLFormElement} */ (byId("pulse-form"));
  const count = whole(inputById("pulse-count").value);
  const regular = new FormData(form).get("regular");
  const missing = count === null ? "Beats: a whole number from 0 to 300." : regular === null ? "Evenly or unevenly?" : "";
  byId("pulse-missing").textContent = missing;
  if (missing || count === null) return;
  pulse = { from_s: Number(form.dataset.from), seconds: Number(form.dataset.seconds), count, regular: regular === "yes" };
  form.reset();
  toHands();
}

// ---------------------------------------------------------------- bulb and valve

function toHands() {
  peak_mmhg = 0;
  doing = begun?.policy.palpation_asked ? "feel" : "listen";
  beginInflation();
  show("hands");
}

function beginInflation() {
  const feel = doing === "feel";
  const traced = inputById("show-sounds").checked;
  peak_mmhg = 0;
  byId("hands").dataset.write = "closed";
  byId("felt").hidden = true;
  byId("reading").hidden = false;
  byId("reading").inert = true;
  byId("write-when").hidden = false;
  byId("line-name").textContent = feel ? "wrist" : traced ? "sounds" : "";
  byId("line").toggleAttribute("hidden", !feel && !traced);
  byId("hint").textContent = feel ? "Feel the wrist" : "Listen";
  needle.blips = [];
  if (sounds) sounds.listening = !feel;
  say(feel ? "Feel first. Pump until the wrist line stops." : run.hand ? "Ready. Valve open." : "Ready. Valve shut.");
  byId("pad").focus();
}

function handleCuff() {
  const mmhg = run.now_mmhg;
  const before = run.pressureAt(run.now_s - 0.5);
  const full = peak_mmhg > LOWEST_PEAK_MMHG;
  const state = mmhg < EMPTY_MMHG ? "ready" : mmhg > before + 0.5 ? "pumping" : run.hand >= 0.95 ? "emptying" : mmhg < before - 0.3 ? "releasing" : "holding";
  const word = byId("state");
  if (word.textContent !== state) {
    word.textContent = state;
    if (state === "emptying") say("Cuff emptying.");
  }
  hint(state, mmhg);
  if (full && mmhg < EMPTY_MMHG) emptied();
}

/**
 * @param {string} state
 * @param {number} mmhg
 */
function hint(state, mmhg) {
  if (doing !== "listen" || !begun) return;
  const asked = begun.policy.wait_after_palpation_s;
  const waited = clock() - emptySince_s;
  let words = "Listen";
  if (state === "ready" && palpated !== null && waited < asked) words = `Wait ${Math.ceil(asked - waited)} s`;
  if (state === "releasing" && begun.guided && Number(setting("guided")) < HINTED_READINGS) {
    const [slow, fast] = begun.policy.release_mmhg_per_s;
    const rate = run.pressureAt(run.now_s - 1) - mmhg;
    words = rate > fast ? "slower" : rate < slow ? "faster" : "steady";
  }
  if (byId("hint").textContent !== words) byId("hint").textContent = words;
}

function emptied() {
  emptySince_s = clock();
  byId("hands").dataset.write = "open";
  if (doing === "feel") {
    doing = "write";
    byId("felt").hidden = false;
    byId("reading").hidden = true;
    byId("felt-wait").textContent = `Cuff empty. Wait ${begun?.policy.wait_after_palpation_s ?? 0} s before you pump again.`;
    byId("palpated").focus();
    say("Cuff empty. Write the pressure at which the wrist line stopped.");
    return;
  }
  doing = "write";
  if (sounds) sounds.listening = false;
  byId("state").textContent = "writing";
  byId("hint").textContent = "";
  byId("reading").inert = false;
  byId("write-when").hidden = true;
  byId("systolic").focus();
  say("Cuff empty. Write systolic.");
}

/** @param {number | null} value */
function felt(value) {
  palpated = value;
  inputById("palpated").value = "";
  doing = "listen";
  beginInflation();
}

function showValve() {
  const percent = Math.round(run.hand * 1000) / 10;
  byId("valve").setAttribute("aria-valuenow", String(percent));
  byId("valve").setAttribute("aria-valuetext", run.hand ? `${percent} percent open` : "shut");
  byId("valve-knob").style.top = `${run.hand * 100}%`;
}

/**
 * @param {Input} input
 * @param {() => void} move
 */
function moved(input, move) {
  if (doing !== "feel" && doing !== "listen") return;
  inputs[input] += 1;
  run.advance(clock());
  move();
  showValve();
  sounds?.plan(clock(), pressureAt);
}

const hand = {
  squeeze: (/** @type {Input} */ input) => moved(input, () => run.squeeze()),
  move: (/** @type {number} */ by, /** @type {Input} */ input) => moved(input, () => run.turn(run.hand + by)),
  shut: (/** @type {Input} */ input) => moved(input, () => run.turn(0)),
  openFully: (/** @type {Input} */ input) => moved(input, () => run.openFully()),
  speakNeedle: () => {
    spoken = true;
    byId("spoken").textContent = `Needle at ${Math.round(needle.mmhg / 2) * 2}.`;
  },
  leave: () => /** @type {HTMLDialogElement} */ (byId("leave")).showModal(),
  active: () => doing === "feel" || doing === "listen",
};

// ---------------------------------------------------------------- writing

/**
 * A whole number from 0 to 300, or null.
 * @param {string} text
 */
function whole(text) {
  const tidy = text.trim();
  return /^\d{1,3}$/.test(tidy) && Number(tidy) <= 300 ? Number(tidy) : null;
}

/** @param {string} id */
function notHeard(id) {
  return byId(`${id}-not`).getAttribute("aria-pressed") === "true";
}

/**
 * @param {string} id
 * @param {boolean} pressed
 */
function setNotHeard(id, pressed) {
  byId(`${id}-not`).setAttribute("aria-pressed", String(pressed));
  inputById(id).disabled = pressed;
  if (pressed) inputById(id).value = "";
}

/**
 * Both numbers as written, or null with the note filled in.
 * @param {string} before prefix of the fields' ids
 * @param {string} note
 */
function bothNumbers(before, note) {
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

/** @param {boolean} kept the numbers stand as written though diastolic is above systolic */
function writeReading(kept) {
  const both = bothNumbers("", "reading-missing");
  if (!both) return;
  const muffling = inputById("muffling").value.trim();
  if (muffling && whole(muffling) === null) {
    byId("reading-missing").textContent = "muffled at: a whole number from 0 to 300, or nothing.";
    return;
  }
  const crossed = both.systolic !== null && both.diastolic !== null && both.diastolic > both.systolic;
  byId("swap-choice").hidden = !crossed || kept;
  if (crossed && !kept) {
    byId("reading-missing").textContent = "Diastolic is above systolic. Swap, or keep as written?";
    byId("swap").focus();
    return;
  }
  file({ ...both, muffling: muffling ? whole(muffling) : null });
}

/** @param {{systolic: number | null, diastolic: number | null, muffling: number | null}} reading */
function file(reading) {
  if (!begun) return;
  stop();
  const most = /** @type {Input[]} */ (["mouse", "touch", "keyboard"]).reduce((a, b) => (inputs[b] > inputs[a] ? b : a));
  const log = {
    ...run.samples(),
    events: run.acts,
    pulse,
    palpated_mmhg: palpated,
    reading,
    guided: begun.guided,
    visible_pulse: inputById("show-sounds").checked,
    needle_spoken: spoken,
    input: most,
  };
  if (begun.guided) setting("guided", String(Number(setting("guided")) + 1));
  for (const name of ["systolic", "diastolic"]) {
    setNotHeard(name, false);
    inputById(name).value = "";
  }
  inputById("muffling").value = "";
  show("sending");
  say("Written.");
  void outbox.add(begun.measurement, log);
}

// ---------------------------------------------------------------- sending and judgement

const outbox = new Outbox(localStorage, (path, body) => ask("POST", path, body), {
  waiting: () => banner("Connection lost. Your reading waits here; it will be sent once."),
  stored: (measurement) => {
    banner("");
    if (["sending", "begin"].includes(bench.dataset.stage ?? "")) void readJudgement(measurement);
  },
  refused: (_measurement, why) => {
    banner(`Not filed: ${why}`);
    if (bench.dataset.stage === "sending") show("begin");
  },
});

/** @param {string} measurement */
async function readJudgement(measurement) {
  show("sending");
  byId("sending-words").textContent = "Your reading is stored. It is being graded.";
  history.replaceState(null, "", `#${measurement}`);
  for (let wait_ms = JUDGEMENT_EVERY_MS; ; wait_ms = Math.min(wait_ms * 1.5, 5000)) {
    try {
      const { status, data } = await ask("GET", `/practise/measurements/${measurement}/judgement`);
      if (status === 200) return showJudged(measurement, data);
      if (status >= 400 && status < 500) {
        banner(data.error ?? "This reading cannot be shown.");
        return show("begin");
      }
    } catch {
      byId("sending-words").textContent = "Your reading is stored. Waiting for the connection to show its judgement.";
    }
    await new Promise((done) => setTimeout(done, wait_ms));
  }
}

/**
 * @param {string} measurement
 * @param {import("./bench_picture.js").Judgement} judgement
 */
function showJudged(measurement, judgement) {
  judged = measurement;
  show("judged"); // shown first: the picture is drawn as wide as its place
  showJudgement(byId("judgement"), judgement);
  const wait = begun?.policy.wait_between_s ?? 60;
  byId("wait-between").textContent = `On the same arm, wait ${wait} s between two measurements.`;
  byId("next-act").focus();
}

async function sameSetUp() {
  const kept = JSON.parse(sessionStorage.getItem("hushpoint.choices") ?? "null");
  const known = kept && kept.measurement === judged;
  if (!(await begin(known ? kept.guided : false, judged))) return;
  if (!known) return show("case");
  choices = kept.choices;
  await sendSetUp();
}

/** @param {SubmitEvent} event */
async function correct(event) {
  event.preventDefault();
  const both = bothNumbers("c-", "correction-missing");
  if (!both) return;
  const why = inputById("c-why").value.trim();
  if (!why) {
    byId("correction-missing").textContent = "Why: write a reason.";
    byId("c-why").focus();
    return;
  }
  const body = { reading: { ...both, muffling: null }, why };
  const answer = await act(`/practise/measurements/${judged}/correction`, body);
  if (answer) byId("correction-missing").textContent = "Corrected. The first reading stays beside it.";
}

// ---------------------------------------------------------------- wiring

for (const [id, guided] of /** @type {[string, boolean][]} */ ([["begin-guided", true], ["begin-unguided", false]])) {
  byId(id).addEventListener("click", async () => (await begin(guided, null)) && show("case"));
}
byId("set-up").addEventListener("submit", (event) => void setUp(event));
byId("try-sound").addEventListener("click", () => void trySound());
byId("start").addEventListener("click", () => void start());
byId("change-set-up").addEventListener("click", () => show("case"));
for (const button of bench.querySelectorAll("[data-seconds]")) {
  button.addEventListener("click", () => countPulse(Number(button.getAttribute("data-seconds"))));
}
byId("pulse-skip").addEventListener("click", toHands);
byId("pulse-form").addEventListener("submit", writePulse);
byId("felt").addEventListener("submit", (event) => {
  event.preventDefault();
  const value = whole(inputById("palpated").value);
  byId("felt-missing").textContent = value === null ? "A whole number from 0 to 300." : "";
  if (value !== null) felt(value);
});
byId("felt-skip").addEventListener("click", () => felt(null));
byId("reading").addEventListener("submit", (event) => {
  event.preventDefault();
  writeReading(false);
});
byId("swap").addEventListener("click", () => {
  const [one, other] = [inputById("systolic"), inputById("diastolic")];
  [one.value, other.value] = [other.value, one.value];
  writeReading(false);
});
byId("keep").addEventListener("click", () => writeReading(true));
byId("pump-again").addEventListener("click", () => {
  doing = "listen";
  beginInflation();
});
for (const id of ["systolic", "diastolic", "c-systolic", "c-diastolic"]) {
  byId(`${id}-not`).addEventListener("click", () => setNotHeard(id, !notHeard(id)));
}
byId("same-set-up").addEventListener("click", () => void sameSetUp());
byId("next-person").addEventListener("click", () => {
  history.replaceState(null, "", location.pathname);
  show("begin");
});
byId("correction").addEventListener("submit", (event) => void correct(event));
byId("stay").addEventListener("click", () => /** @type {HTMLDialogElement} */ (byId("leave")).close());
byId("go").addEventListener("click", () => {
  stop();
  location.assign("/practise");
});
const leftHand = inputById("left-hand");
leftHand.checked = setting("left-hand") === "yes";
bench.classList.toggle("mirrored", leftHand.checked);
leftHand.addEventListener("change", () => {
  setting("left-hand", leftHand.checked ? "yes" : "no");
  bench.classList.toggle("mirrored", leftHand.checked);
});
window.addEventListener("online", () => void outbox.sendAll());
document.addEventListener("visibilitychange", () => {
  if (!document.hidden && doing !== "off") void context?.resume();
});
readPad(hand);
requestAnimationFrame(frame);

if (outbox.waiting().length) {
  show("sending");
  void outbox.sendAll();
} else if (/^#[0-9a-f]{8,}$/.test(location.hash)) {
  void readJudgement(location.hash.slice(1));
}

// Facts for browser tests, to be read only; they tell no more than the arm table does.
Object.assign(window, {
  hushpoint: {
    facts: () => ({
      doing,
      clock_s: clock(),
      zero_s,
      context,
      latency_s: latency(),
      out: sounds?.out,
      planned: [...(sounds?.planned.values() ?? [])],
      trace: needle.trace,
      table,
      run,
    }),
  },
});
