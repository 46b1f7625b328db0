// The technique sheet: a tap marks a step done, its right edge missed, a hold or "note" opens a note. What is marked is
// kept on this device at once and delivered once, whatever the network does.

import { actsOutbox, KEEPS_NOTHING } from "./acts_outbox.js";
import { byId, inputById, newId } from "./bench_dom.js";
import { setting } from "./bench_store.js";

/** @typedef {{marks: Record<string, string>, notes: Record<string, string>, overall: string}} Marked */

const HOLD_MS = 500;
const MOST_UNDO = 200;
const WORDS = /** @type {Record<string, string>} */ ({ done: "done", missed: "missed" });

const sheet = byId("sheet");
const path = sheet.dataset.path ?? "";
const kept = `technique.${sheet.dataset.performance}`;
const steps = /** @type {HTMLElement[]} */ ([...sheet.querySelectorAll(".step")]);
/** "0 of 33" in the language of the page, as it was served. */
const noneMarked = byId("count").textContent ?? "";
/** @type {Marked} */
let marked = JSON.parse(setting(kept) || '{"marks": {}, "notes": {}, "overall": ""}');
/** @type {string[]} */
const before = [];
let noted = "";
/** What was delivered last, and under which ref: the same sheet pressed twice is one delivery. */
let delivered = { what: "", ref: "" };

const outbox = actsOutbox({
  unkept: () => banner(KEEPS_NOTHING),
  waiting: (held) => banner(`Connection lost. ${held ? "The sheet waits here; it will be delivered once." : KEEPS_NOTHING}`),
  stored: (sent) => {
    if (sent !== path) return;
    setting(`${kept}.by`, inputById("assessor").value.trim());
    banner("Delivered. ");
    const link = document.createElement("a");
    link.href = `${path}/marks`;
    link.textContent = "See the marks";
    byId("banner").append(link);
  },
  refused: (_sent, why) => banner(`Not taken: ${why}`),
});

/** @param {string} words */
function banner(words) {
  byId("banner").textContent = words;
  byId("banner").toggleAttribute("hidden", !words);
}

/** @param {() => void} change something that can be undone */
function act(change) {
  before.push(JSON.stringify(marked));
  if (before.length > MOST_UNDO) before.shift();
  change();
  setting(kept, JSON.stringify(marked));
  draw();
}

/**
 * Mark a step; the same mark again takes it away.
 * @param {HTMLElement} step
 * @param {string} mark
 */
function mark(step, mark) {
  const id = step.dataset.step ?? "";
  act(() => {
    if (marked.marks[id] === mark) delete marked.marks[id];
    else marked.marks[id] = mark;
  });
  byId("said").textContent = `${step.dataset.number} ${WORDS[marked.marks[id] ?? ""] ?? "not seen"}`;
}

/** @param {HTMLElement} step */
function openNote(step) {
  noted = step.dataset.step ?? "";
  byId("note-title").textContent = step.getAttribute("aria-label");
  inputById("note-text").value = marked.notes[noted] ?? "";
  /** @type {HTMLDialogElement} */ (byId("note-box")).showModal();
}

function draw() {
  for (const step of steps) {
    const id = step.dataset.step ?? "";
    const now = marked.marks[id] ?? "";
    for (const one of ["done", "missed"]) step.querySelector(`.${one}`)?.setAttribute("aria-pressed", String(now === one));
    step.querySelector(".note")?.setAttribute("aria-pressed", String(Boolean(marked.notes[id])));
    const state = step.querySelector(".state");
    if (state) state.textContent = now === "missed" ? "" : now || "not seen";
    const strip = sheet.querySelector(`[data-strip="${id}"]`);
    strip?.classList.toggle("is-done", now === "done");
    strip?.classList.toggle("is-missed", now === "missed");
  }
  for (const one of sheet.querySelectorAll("input[name='overall']")) {
    if (one instanceof HTMLInputElement) one.checked = one.value === marked.overall;
  }
  byId("count").textContent = noneMarked.replace("0", String(Object.keys(marked.marks).length));
  /** @type {HTMLButtonElement} */ (byId("undo")).disabled = before.length === 0;
}

/** @param {string} moment */
function show(moment) {
  for (const tab of sheet.querySelectorAll("[data-moment]")) {
    const here = tab.getAttribute("data-moment") === moment;
    if (here) tab.setAttribute("aria-current", "step");
    else tab.removeAttribute("aria-current");
    byId(`moment-${tab.getAttribute("data-moment")}`).toggleAttribute("hidden", !here);
  }
  window.scrollTo(0, 0);
}

for (const step of steps) {
  /** @type {ReturnType<typeof setTimeout> | undefined} */
  let holding;
  let held = false;
  const done = /** @type {HTMLElement} */ (step.querySelector(".done"));
  done.addEventListener("pointerdown", () => {
    held = false;
    holding = setTimeout(() => {
      held = true;
      openNote(step);
    }, HOLD_MS);
  });
  for (const end of ["pointerup", "pointercancel", "pointerleave"]) done.addEventListener(end, () => clearTimeout(holding));
  done.addEventListener("contextmenu", (event) => event.preventDefault());
  done.addEventListener("click", () => {
    if (!held) mark(step, "done");
    held = false;
  });
  step.querySelector(".missed")?.addEventListener("click", () => mark(step, "missed"));
  step.querySelector(".note")?.addEventListener("click", () => openNote(step));
}
byId("note-box").addEventListener("close", () => {
  const box = /** @type {HTMLDialogElement} */ (byId("note-box"));
  const text = inputById("note-text").value.trim();
  if (box.returnValue !== "keep" || text === (marked.notes[noted] ?? "")) return;
  act(() => {
    if (text) marked.notes[noted] = text;
    else delete marked.notes[noted];
  });
});
for (const tab of sheet.querySelectorAll("[data-moment]")) {
  tab.addEventListener("click", () => show(tab.getAttribute("data-moment") ?? ""));
}
for (const one of sheet.querySelectorAll("input[name='overall']")) {
  one.addEventListener("change", () => {
    if (one instanceof HTMLInputElement) act(() => void (marked.overall = one.value));
  });
}
byId("undo").addEventListener("click", () => {
  const last = before.pop();
  if (last === undefined) return;
  marked = JSON.parse(last);
  setting(kept, last);
  draw();
  byId("said").textContent = "Undone.";
});
byId("deliver").addEventListener("click", () => {
  const assessor = inputById("assessor").value.trim();
  if (!assessor) {
    banner("Your initials are missing.");
    byId("assessor").focus();
    return;
  }
  setting("assessor", assessor);
  banner("On its way.");
  const what = JSON.stringify({ ...marked, assessor });
  if (delivered.what !== what) delivered = { what, ref: newId() };
  void outbox.add(path, { ...marked, assessor, ref: delivered.ref });
});

/** What one assessor delivered from this device is not shown to the next as their own. */
function offerEmpty() {
  const by = setting(`${kept}.by`);
  if (!by) return;
  banner(`These are the marks of ${by}, as delivered from this device. `);
  const empty = document.createElement("button");
  empty.type = "button";
  empty.textContent = "I am another assessor: empty sheet";
  empty.addEventListener("click", () => {
    act(() => void (marked = { marks: {}, notes: {}, overall: "" }));
    setting(`${kept}.by`, "");
    inputById("assessor").value = "";
    banner("");
    show("before");
  });
  byId("banner").append(empty);
}

inputById("assessor").value = setting("assessor");
draw();
offerEmpty();
void outbox.sendAll();
