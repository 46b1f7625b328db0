// One pair on one observer's device: write, seal, wait, turn. What the other wrote is not on this device before both
// are in; the server does not tell that either is.

import { actsOutbox, KEEPS_NOTHING } from "./acts_outbox.js";
import { ask, byId, inputById, newId } from "./bench_dom.js";
import { bothNumbers, setNotHeard } from "./bench_numbers.js";
import { passing } from "./bench_store.js";
import { lookForPair } from "./pairs_call.js";

/**
 * @typedef {{systolic: number | null, diastolic: number | null}} Numbers
 * @typedef {Numbers & {ref: string, corrected: boolean}} Told
 * @typedef {{pair: string, state: string, mine: Told | null, other: Told | null, difference: Numbers | null,
 *   unfair: string, why_cancelled: string}} State
 */

const EVERY_MS = 1000;
const ENDS = /** @type {const} */ (["systolic", "diastolic"]);
const SECTIONS = ["write", "waiting", "watching", "turned", "cancelled"];

const page = byId("pair");
const base = page.dataset.base ?? "";
const role = page.dataset.role ?? "";
/** @type {State} */
let state = JSON.parse(page.dataset.state ?? "{}");
let shown = "";
/** Answers overtaken by a later one are left alone. */
let asked = 0;
let answered = 0;

const outbox = actsOutbox({
  unkept: () => banner(KEEPS_NOTHING),
  waiting: (kept) => banner(`Connection lost. ${kept ? "Your numbers wait here; they will be sent once." : KEEPS_NOTHING}`),
  stored: () => {
    banner("");
    void look();
  },
  refused: (_path, why) => {
    banner(`Not taken: ${why}`);
    passing(`sealed.${state.pair}`, "");
    void look();
  },
});

/** @param {string} words */
function banner(words) {
  byId("banner").textContent = words;
  byId("banner").toggleAttribute("hidden", !words);
}

/** @param {number | null} value */
const written = (value) => (value === null ? "not heard" : String(value));

/** @param {Numbers} both */
const slashed = (both) =>
  both.systolic === null && both.diastolic === null ? "not heard" : `${written(both.systolic)}/${written(both.diastolic)}`;

/** @param {number | null} value */
const signed = (value) => (value === null ? "—" : value > 0 ? `+${value}` : value < 0 ? `−${-value}` : "0");

/** Each end in a text of its own, so that another language finds it. @param {Numbers} difference */
function inWords(difference) {
  const parts = ENDS.flatMap((end) => {
    const value = difference[end];
    if (value === null) return [", ", `${end} cannot be compared`];
    if (value === 0) return [", ", `the same on ${end}`];
    return [", ", value > 0 ? `${value} high on ${end}` : `${-value} low on ${end}`];
  });
  return [role === "learner" ? "You:" : "The learner:", " ", ...parts.slice(1), "."].map((text) => new Text(text));
}

/** What this device has sealed and the server may not have yet. */
function sealedHere() {
  const kept = passing(`sealed.${state.pair}`);
  return kept ? /** @type {Numbers & {ref: string}} */ (JSON.parse(kept)) : null;
}

/** Show the section that the state asks for; a form in use is left alone. */
function draw() {
  const mine = state.mine ?? sealedHere();
  let section = role === "watcher" ? "watching" : mine ? "waiting" : "write";
  if (state.state === "cancelled") section = "cancelled";
  else if (state.other) section = "turned";
  if (section === "waiting" && mine) byId("own-numbers").textContent = slashed(mine);
  if (section === "cancelled") byId("why-cancelled").textContent = state.why_cancelled;
  if (section === "turned") drawTurned();
  if (section === shown) return;
  for (const id of SECTIONS) byId(id).toggleAttribute("hidden", id !== section);
  if (shown) {
    const first = byId(section).querySelector("[tabindex='-1'], input");
    if (first instanceof HTMLElement) first.focus();
  }
  shown = section;
  if (page.dataset.home && (section === "turned" || section === "cancelled")) void lookForPair();
}

function drawTurned() {
  const { mine, other, difference } = state;
  if (!mine || !other || !difference) return;
  const learner = role === "learner" ? mine : other;
  const reference = role === "learner" ? other : mine;
  byId("learner-numbers").textContent = slashed(learner);
  byId("reference-numbers").textContent = slashed(reference);
  byId("difference").textContent = `${signed(difference.systolic)} / ${signed(difference.diastolic)}`;
  byId("turned-words").replaceChildren(...inWords(difference));
  const who = [learner.corrected && "the learner's", reference.corrected && "the reference's"].filter(Boolean);
  byId("corrected-words").textContent = who.length ? `As corrected: ${who.join(" and ")} numbers.` : "";
}

/** Ask how the pair stands. */
async function look() {
  const turn = ++asked;
  try {
    const { status, data } = await ask("GET", `${base}/state`);
    if (turn < answered) return;
    answered = turn;
    if (status === 200) {
      state = data;
      if (state.mine) passing(`sealed.${state.pair}`, "");
      draw();
    } else if (status === 404) {
      banner("This pair is not here any more.");
    }
  } catch {
    // no connection: the next look may have one
  }
}

async function goOn() {
  await look();
  setTimeout(() => void goOn(), EVERY_MS);
}

/** @param {boolean} kept the numbers stand as written though diastolic is above systolic */
function seal(kept) {
  const both = bothNumbers("", "reading-missing");
  byId("swap-choice").hidden = true;
  if (!both) return;
  const crossed = both.systolic !== null && both.diastolic !== null && both.diastolic > both.systolic;
  byId("swap-choice").hidden = !crossed || kept;
  if (crossed && !kept) {
    byId("reading-missing").textContent = "Diastolic is above systolic. Swap, or keep as written?";
    byId("swap").focus();
    return;
  }
  const sealed = { ...both, ref: newId() };
  passing(`sealed.${state.pair}`, JSON.stringify(sealed));
  void outbox.add(`${base}/seal`, sealed);
  draw();
}

function takeBack() {
  const mine = state.mine ?? sealedHere();
  if (!mine) return;
  passing(`sealed.${state.pair}`, "");
  state = { ...state, mine: null };
  for (const end of ENDS) {
    setNotHeard(end, mine[end] === null);
    inputById(end).value = mine[end] === null ? "" : String(mine[end]);
  }
  void outbox.add(`${base}/take-back`, { ref: mine.ref });
  draw();
}

byId("reading").addEventListener("submit", (event) => {
  event.preventDefault();
  seal(false);
});
byId("swap").addEventListener("click", () => {
  const [one, other] = [inputById("systolic"), inputById("diastolic")];
  [one.value, other.value] = [other.value, one.value];
  seal(false);
});
byId("keep").addEventListener("click", () => seal(true));
byId("take-back").addEventListener("click", takeBack);
for (const id of ["systolic", "diastolic", "c-systolic", "c-diastolic"]) {
  byId(`${id}-not`).addEventListener("click", () => setNotHeard(id, byId(`${id}-not`).getAttribute("aria-pressed") !== "true"));
}
byId("correction").addEventListener("submit", (event) => {
  event.preventDefault();
  const both = bothNumbers("c-", "correction-missing");
  if (!both) return;
  const why = inputById("c-why").value.trim();
  if (!why) {
    byId("correction-missing").textContent = "Why: write a reason.";
    byId("c-why").focus();
    return;
  }
  const whose = document.querySelector("input[name='whose']:checked");
  const body = { ...both, why, ref: newId(), whose: whose instanceof HTMLInputElement ? whose.value : "" };
  void outbox.add(`${base}/correction`, body);
  /** @type {HTMLDetailsElement} */ (byId("correct")).open = false;
});

draw();
void outbox.sendAll();
void goOn();
