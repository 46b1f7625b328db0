// The led visit: one question at a time, the next step above it, the clock of the stored start through every reload.

import { byId, el, inputById } from "./bench_dom.js";
import { emergencyHere, showEmergency } from "./visit_emergency.js";
import "./second_tap.js";
import { besideKpa } from "./units.js";
import { Link } from "./visit_link.js";
import { nextStep } from "./visit_next.js";
import { showResult } from "./visit_result.js";

/** @typedef {import("./visit_link.js").State} State */

const page = byId("visit");
const STEPS = ["consent", "urgent", "signs", "disease", "habit", "plan", "about", "today", "arms", "size", "kit", "rest", "posture", "pulse", "feel", "read"];
/** @type {Record<string, string>} */
const ASK = {
  consent: "Ask for consent", urgent: "Ask for emergency symptoms", signs: "Ask for signs and symptoms",
  disease: "Ask for known disease", habit: "Ask about exercise", plan: "Ask what is planned", about: "Ask about the client",
  today: "Ask about today", arms: "Ask which arm", size: "Measure the arm", kit: "Choose the cuff", rest: "Rest",
  posture: "Look at the posture", pulse: "Count the pulse", feel: "Feel the systolic first",
};
/** @type {Record<string, string>} */
const BOXES = { cleared: "client.cleared_within_12_months", pregnant: "client.pregnant", "first-visit": "client.first_visit" };
const SPOKEN_AT_S = 10;
const TICK_MS = 250;

const link = new Link(String(page.dataset.visit), draw, (words) => (byId("said").textContent = words));
let spokenBefore_s = 0;
/** @type {string | null} */
let amended = null;
let urgentAsked = false;
/** The words that last named an arm: a new next step chooses its arm once, what a hand chose then stays. */
let armAsked = "";

/** @param {State} state */
function stepsDone(state) {
  return (state.marks.steps ?? "").split(",").filter(Boolean);
}

/**
 * The answers of a step, and the step marked as done.
 * @param {string} step
 * @param {Record<string, any>} told
 */
function done(step, told) {
  const state = link.now();
  if (!state) return;
  const steps = [...new Set([...stepsDone(state), step])].filter((one) => one !== "consent" || told.consent !== false);
  urgentAsked = false;
  link.act({ told: { ...told, steps: steps.join(",") } });
}

/** @param {State} state */
function stepNow(state) {
  if (urgentAsked) return "urgent";
  const steps = stepsDone(state);
  return STEPS.find((step) => step !== "read" && !steps.includes(step)) ?? "read";
}

/**
 * @param {State} state
 * @param {boolean} fresh whether the server has said all of it
 */
function draw(state, fresh) {
  if (emergencyHere(state)) showEmergency(state, link);
  const step = stepNow(state);
  const next = stepOf(state, fresh);
  const over = next.do === "enough" || next.do === "stop";
  const reading = step === "read" && !over;
  for (const form of page.querySelectorAll("form[data-step]")) {
    const mine = form.getAttribute("data-step") === step && !amended && !(fresh && next.do === "stop" && step !== "urgent" && step !== "consent");
    form.toggleAttribute("hidden", !mine || (step === "read" && over));
  }
  byId("amend").toggleAttribute("hidden", !amended);
  page.dataset.step = reading ? "read" : step;
  showTaken(state);
  showAnswers(state);
  showAsked(state);
  if (reading) chooseArm(next.why);
  const after = step === "read" && over;
  byId("result").toggleAttribute("hidden", !(after || (fresh && next.do === "stop")));
  if (!byId("result").hidden) showResult(state, fresh);
  if (fresh && next.do === "stop") byId("answers").closest("details")?.setAttribute("open", "");
  tick();
}

/**
 * The server's next step while it knows all, else the same rule here.
 * @param {State} state
 * @param {boolean} fresh
 */
function stepOf(state, fresh) {
  const stopped = state.judged.next.do === "stop";
  if (fresh || stopped) return fresh && state.judged.next.do !== "wait" ? state.judged.next : stopped ? state.judged.next : here(state);
  return here(state);
}

/** @param {State} state */
function here(state) {
  return nextStep(
    state.policy,
    {
      readings: state.readings.map((one) => ({ ...one, at_ms: Date.parse(one.at) })),
      barred: state.answers["client.barred_arms"] ?? [],
      firstVisit: state.answers["client.first_visit"] === true,
      irregular: state.answers["pulse.regular"] === false,
    },
    link.now_ms(),
  );
}

/** Write the next step and its clock; called four times a second. */
function tick() {
  const state = link.now();
  if (!state) return;
  const step = stepNow(state);
  const rest = step === "rest" ? state.marks.rest_began : undefined;
  byId("rest-over").toggleAttribute("hidden", !rest);
  byId("rest-begin").toggleAttribute("hidden", !!rest);
  const stopped = !link.waits && state.judged.next.do === "stop" && !urgentAsked;
  if (stopped) return say("Stop", sentence(state.judged.next.why), null);
  if (step !== "read") {
    const left_s = rest ? Math.ceil(state.policy.rest_s - (link.now_ms() - Date.parse(rest)) / 1000) : 0;
    say(ASK[step] ?? step, rest ? (left_s > 0 ? "Nobody talks." : "The rest is over. Go on.") : "", rest ? left_s : null);
    return;
  }
  const fresh = !link.waits;
  const next = fresh && state.judged.next.do !== "wait" ? state.judged.next : stepOf(state, false);
  /** @type {Record<string, string>} */
  const words = { take: "Take a reading", wait: "Wait", other_arm: "The other arm", enough: "Enough", stop: "Stop" };
  const first = !state.readings.length;
  say(words[next.do] ?? next.do, sentence(next.why), next.do === "wait" && !first ? next.seconds : null);
}

/**
 * @param {string} what
 * @param {string} why
 * @param {number | null} left_s
 */
function say(what, why, left_s) {
  byId("next-do").textContent = what;
  byId("next-why").textContent = why;
  const time = byId("next-time");
  time.toggleAttribute("hidden", left_s === null);
  if (left_s === null) return;
  const whole_s = Math.max(0, left_s);
  const until = new Date(Date.now() + whole_s * 1000).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });
  time.textContent = `${Math.floor(whole_s / 60)}:${String(whole_s % 60).padStart(2, "0")}${whole_s ? ` until ${until}` : ""}`;
  if (spokenBefore_s > SPOKEN_AT_S && whole_s <= SPOKEN_AT_S && whole_s > 0) byId("spoken").textContent = `${whole_s} seconds left.`;
  if (spokenBefore_s > 0 && whole_s === 0) byId("spoken").textContent = "The wait is over.";
  spokenBefore_s = whole_s;
}

/** @param {string} words */
function sentence(words) {
  return words ? `${words[0]?.toUpperCase()}${words.slice(1)}.` : "";
}

/**
 * Lists that stay the same stay where they are: a tap that began before the server's answer came still finds its button.
 * @param {string} id
 * @param {Element[]} rows
 */
function redraw(id, rows) {
  if (byId(id).innerHTML !== rows.map((one) => one.outerHTML).join("")) byId(id).replaceChildren(...rows);
}

/** @param {State} state */
function showTaken(state) {
  byId("taken").toggleAttribute("hidden", !state.readings.length);
  redraw(
    "taken-rows",
    state.readings.map((one, place) => {
      const judged = (state.judged.readings ?? []).find((/** @type {any} */ each) => each.number === place + 1);
      const marks = (judged?.marks ?? []).map((/** @type {string} */ mark) => mark.replaceAll("_", " "));
      if (one.amended) marks.push("corrected");
      const correct = el("button", { type: "button", "data-amend": one.ref, "aria-label": `Correct reading ${place + 1}` }, "Correct");
      return el("tr", {},
        el("td", {}, String(place + 1)),
        el("td", {}, `${one.systolic ?? "not heard"}/${one.diastolic ?? "not heard"}${besideKpa([one.systolic, one.diastolic])}`),
        el("td", { "data-label": "Arm" }, one.arm),
        el("td", { "data-label": "At" }, new Date(one.at).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", second: "2-digit" })),
        el("td", { "data-label": "Marks" }, marks.join(", ")),
        el("td", {}, correct));
    }),
  );
}

/** @param {State} state */
function showAnswers(state) {
  redraw(
    "answers",
    stepsDone(state).map((step) => {
      const change = el("button", { type: "button", "data-change": step }, "Change");
      return el("li", {}, el("span", {}, ASK[step] ?? step), change);
    }),
  );
}

/** @param {State} state */
function showAsked(state) {
  const arm = state.answers["client.arm_cm"];
  const note = (state.judged.cautions ?? []).find((/** @type {string} */ line) => line.startsWith("Arm "));
  byId("cuff-asked").textContent = note ?? (arm ? `Arm ${arm} cm.` : "");
  const felt = state.answers.palpated;
  byId("target").textContent = felt ? `Pump to ${felt + 20} to ${felt + 30}: 20 to 30 above the palpated ${felt}.` : "Pump to 20 to 30 above the palpated systolic.";
  const barred = state.answers["client.barred_arms"] ?? [];
  for (const radio of page.querySelectorAll('input[name="arm"]')) {
    const input = /** @type {HTMLInputElement} */ (radio);
    input.disabled = barred.includes(input.value);
    if (input.disabled && input.checked) input.checked = false;
  }
  const free = /** @type {HTMLInputElement | null} */ (page.querySelector('input[name="arm"]:not([disabled])'));
  if (free && !page.querySelector('input[name="arm"]:checked')) free.checked = true;
}

/** Choose the arm that the next step names. @param {string} why */
function chooseArm(why) {
  const arm = [...why.matchAll(/on the (left|right) arm/g)].pop()?.[1];
  if (!arm || why === armAsked) return;
  armAsked = why;
  const input = /** @type {HTMLInputElement | null} */ (page.querySelector(`input[name="arm"][value="${arm}"]:not([disabled])`));
  if (input) input.checked = true;
}

/**
 * Whether something chosen in a form stands against "nothing found"; then it is said, and nothing is stored.
 * @param {Element} form
 * @param {boolean} chosen
 * @param {string} words
 */
function contradicted(form, chosen, words) {
  const wrong = form.querySelector(".field-wrong");
  if (wrong) wrong.textContent = chosen ? words : "";
  return chosen;
}

/**
 * Put back what was answered, when a step is opened again.
 * @param {Element} form
 * @param {Record<string, any>} answers
 */
function refill(form, answers) {
  const list = form.getAttribute("data-list");
  for (const each of form.querySelectorAll("input")) {
    if (each.type === "checkbox") each.checked = list ? (answers[list] ?? []).includes(each.value) : answers[BOXES[each.id] ?? ""] === true;
    else if (each.type !== "radio") each.value = String((each.id === "medicines" ? (answers["client.medicines"] ?? []).join(", ") : answers[each.name]) ?? "");
  }
  for (const arm of form.getAttribute("data-step") === "arms" ? ["left", "right"] : []) {
    inputById(`bar-${arm}`).value = (answers["client.barred_reasons"] ?? {})[arm] ?? "";
  }
}

/**
 * A number field within its range: the number, undefined where empty, null where wrong (and said).
 * @param {HTMLInputElement} input
 */
function numberIn(input) {
  const [low, high] = String(input.dataset.number ?? "0:300").split(":").map(Number);
  const text = input.value.trim().replace(",", ".");
  const wrong = input.form?.querySelector(".field-wrong");
  if (wrong) wrong.textContent = "";
  if (!text) return undefined;
  const value = /^[0-9]{1,4}(\.[0-9]{1,2})?$/.test(text) ? Number(text) : NaN;
  if (value >= low && value <= high) return value;
  if (wrong) wrong.textContent = `A number from ${low} to ${high}.`;
  input.focus();
  return null;
}

page.addEventListener("click", (event) => {
  const button = /** @type {HTMLElement} */ (event.target).closest("button");
  if (!button) return;
  const step = button.closest("form")?.getAttribute("data-step") ?? "";
  if (button.dataset.told !== undefined) {
    const told = JSON.parse(button.dataset.told);
    const locked = ["left", "right"].some((arm) => inputById(`bar-${arm}`).value !== "");
    const words = "A lock is chosen below: take it back first, or lock what is chosen.";
    if (step === "arms" && button.form && contradicted(button.form, locked, words)) return;
    if (step === "habit") told["client.cleared_within_12_months"] = inputById("cleared").checked;
    if (step === "pulse") {
      const rate = numberIn(inputById("per_min"));
      if (rate === null) return;
      if (rate !== undefined) told["pulse.per_min"] = rate;
    }
    done(step, told);
  }
  if (button.dataset.urgent) {
    const before = link.now()?.answers.symptoms ?? [];
    done("urgent", { symptoms: [...new Set([...before, button.dataset.urgent])] });
  }
  if (button.dataset.change) {
    const state = link.now();
    const form = page.querySelector(`form[data-step="${button.dataset.change}"]`);
    if (state && form) refill(form, state.answers);
    if (state) link.act({ told: { steps: stepsDone(state).filter((one) => one !== button.dataset.change).join(",") } });
  }
  if (button.dataset.amend) beginAmend(button.dataset.amend);
});

for (const form of page.querySelectorAll("form[data-list]")) {
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const name = String(form.getAttribute("data-list"));
    const none = /** @type {SubmitEvent} */ (event).submitter?.hasAttribute("data-none");
    const ticked = [...form.querySelectorAll("input:checked")].map((one) => /** @type {HTMLInputElement} */ (one).value);
    const words = "Something is ticked here: untick it first, or go on with what is ticked.";
    if (none && contradicted(form, ticked.length > 0, words)) return;
    const kept = name === "symptoms" ? (link.now()?.answers.symptoms ?? []).filter((/** @type {string} */ code) => !form.querySelector(`input[value="${code}"]`)) : [];
    done(String(form.getAttribute("data-step")), { [name]: [...kept, ...ticked] });
  });
}

/**
 * @param {string} step
 * @param {() => Record<string, any> | null} answers null where a field is wrong
 */
function onSubmit(step, answers) {
  const form = page.querySelector(`form[data-step="${step}"]`);
  form?.addEventListener("submit", (event) => {
    event.preventDefault();
    const told = answers();
    if (told) done(step, told);
  });
}

onSubmit("about", () => {
  const age = numberIn(inputById("age"));
  if (age === null) return null;
  const medicines = inputById("medicines").value.split(",").map((one) => one.trim()).filter(Boolean);
  const told = { "client.medicines": [...new Set(medicines)], "client.pregnant": inputById("pregnant").checked, "client.first_visit": inputById("first-visit").checked };
  return age === undefined ? told : { ...told, "client.age": age };
});
onSubmit("arms", () => {
  /** @type {Record<string, string>} */
  const reasons = {};
  for (const arm of ["left", "right"]) {
    const reason = inputById(`bar-${arm}`).value;
    if (reason) reasons[arm] = reason;
  }
  return { "client.barred_arms": Object.keys(reasons), "client.barred_reasons": reasons };
});
onSubmit("size", () => {
  const arm = numberIn(inputById("arm_cm"));
  return arm === null || arm === undefined ? null : { "client.arm_cm": arm };
});
onSubmit("kit", () => {
  const told = { kit_cuff: inputById("kit_cuff").value, kit_gauge: inputById("kit_gauge").value, kit_stethoscope: inputById("kit_stethoscope").value };
  const bladder = inputById("bladder").value;
  return bladder && !told.kit_cuff ? { ...told, cuff: bladder } : told;
});
onSubmit("feel", () => {
  const felt = numberIn(inputById("palpated"));
  return felt === null ? null : felt === undefined ? {} : { palpated: felt };
});
onSubmit("pulse", () => null);
byId("rest-begin").addEventListener("click", () => link.act({ told: { rest_began: new Date(link.now_ms()).toISOString() } }));
byId("rest-over").addEventListener("click", () => {
  const began = link.now()?.marks.rest_began;
  if (began) done("rest", { rested_s: Math.min(7200, Math.max(0, Math.round((link.now_ms() - Date.parse(began)) / 1000))), position: "sitting" });
});
byId("wrong").addEventListener("click", () => {
  urgentAsked = true;
  const state = link.now();
  if (state) draw(state, !link.waits);
  page.querySelector('form[data-step="urgent"]')?.scrollIntoView();
});

/**
 * Systolic and diastolic as typed, or null with the reason said.
 * @param {HTMLElement} form
 * @param {string} systolic
 * @param {string} diastolic
 * @param {boolean} emptyIsNotHeard
 */
function endsIn(form, systolic, diastolic, emptyIsNotHeard) {
  const wrong = form.querySelector(".field-wrong");
  /** @type {(number | null)[]} */
  const found = [];
  for (const [name, id, low] of /** @type {[string, string, number][]} */ ([["systolic", systolic, 1], ["diastolic", diastolic, 0]])) {
    const text = inputById(id).value.trim();
    const ticked = !emptyIsNotHeard && inputById(`no-${id}`).checked;
    const value = /^[0-9]{1,3}$/.test(text) ? Number(text) : NaN;
    if (ticked || (emptyIsNotHeard && !text)) found.push(null);
    else if (value >= low && value <= 300) found.push(value);
    else {
      if (wrong) wrong.textContent = `${name}: a whole number from ${low} to 300, or not heard.`;
      inputById(id).focus();
      return null;
    }
  }
  const [high, low] = found;
  if (high != null && low != null && low >= high) {
    if (wrong) wrong.textContent = "The diastolic must be below the systolic. Look again at both.";
    return null;
  }
  if (wrong) wrong.textContent = "";
  return { systolic: high ?? null, diastolic: low ?? null };
}

byId("read").addEventListener("submit", (event) => {
  event.preventDefault();
  const ends = endsIn(byId("read"), "systolic", "diastolic", false);
  const arm = /** @type {HTMLInputElement | null} */ (page.querySelector('input[name="arm"]:checked'))?.value;
  if (!ends || !arm) return;
  link.act({ reading: { arm, ...ends } });
  for (const id of ["systolic", "diastolic"]) {
    inputById(id).value = "";
    inputById(`no-${id}`).checked = false;
  }
});

/** @param {string} ref */
function beginAmend(ref) {
  const state = link.now();
  const one = state?.readings.find((each) => each.ref === ref);
  if (!state || !one) return;
  amended = ref;
  byId("amend-of").textContent = `Written: ${one.systolic ?? "not heard"}/${one.diastolic ?? "not heard"}`;
  inputById("amend-systolic").value = String(one.systolic ?? "");
  inputById("amend-diastolic").value = String(one.diastolic ?? "");
  draw(state, !link.waits);
  inputById("amend-systolic").focus();
}

byId("amend").addEventListener("submit", (event) => {
  event.preventDefault();
  const ends = endsIn(byId("amend"), "amend-systolic", "amend-diastolic", true);
  const why = inputById("amend-why").value.trim();
  const wrong = byId("amend").querySelector(".field-wrong");
  if (wrong && !why) wrong.textContent = "Why: say in a few words.";
  if (!ends || !why || !amended) return;
  const reading = amended;
  amended = null;
  link.act({ amend: { reading, ...ends, why } });
});
byId("amend-leave").addEventListener("click", () => {
  amended = null;
  const state = link.now();
  if (state) draw(state, !link.waits);
});
byId("standing").addEventListener("submit", (event) => {
  event.preventDefault();
  const ends = endsIn(byId("standing"), "standing-systolic", "standing-diastolic", true);
  if (!ends) return;
  const before = link.now()?.answers.standing ?? [];
  link.act({ told: { standing: [...before, { after_s: Number(inputById("standing-after").value), ...ends }] } });
});

void link.load();
void link.outbox.sendAll();
document.addEventListener("visibilitychange", () => {
  if (!document.hidden && !link.waits) void link.load(); // another tab or device may have gone on with this visit
});
setInterval(tick, TICK_MS);
