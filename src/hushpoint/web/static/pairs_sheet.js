// @ts-check
// A paper sheet typed in: Enter goes on to the next field that is asked for, and stores once none is empty.

import { inputById } from "./bench_dom.js";

const line = ["learner", "mine", "theirs", "client"].map(inputById);

for (const field of line) {
  field.addEventListener("keydown", (event) => {
    if (event.key !== "Enter" || event.isComposing) return;
    const next = line.find((one) => one.required && !one.value.trim());
    if (!next || next === field) return; // the form is sent, or says what is missing here
    event.preventDefault();
    next.focus();
  });
}

// What is offered or refused is typed over at once.
const waiting = document.activeElement;
if (waiting instanceof HTMLInputElement && line.includes(waiting)) waiting.select();
