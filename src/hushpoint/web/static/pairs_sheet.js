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

// What is offered or refused is typed over by the first key; what was typed before this script came stays.
const first = line.find((one) => one.autofocus);
if (first && first.value === first.defaultValue && [first, document.body].includes(/** @type {HTMLElement} */ (document.activeElement))) {
  first.focus();
  first.select();
  let untouched = true;
  first.addEventListener("keydown", (event) => {
    // a browser that is busy showing the page may have put the cursor before the text meanwhile
    if (untouched && event.key.length === 1 && !event.ctrlKey && !event.metaKey) first.select();
    untouched = false;
  });
  for (const act of ["pointerdown", "blur"]) first.addEventListener(act, () => (untouched = false));
}
