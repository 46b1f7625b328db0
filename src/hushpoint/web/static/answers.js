// Answers to rounds and papers on their way to the server: kept before sending, sent until acknowledged, once.

import { ask } from "./bench_dom.js";
import { Outbox } from "./bench_outbox.js";
import { banner } from "./bench_stage.js";

const KEEPS_NOTHING = "This browser keeps nothing; do not close the page until the answer is sent.";

// only to name a forbidden store throws: the outbox asks for it when it can catch that
const store = {
  getItem: (/** @type {string} */ key) => localStorage.getItem(key),
  setItem: (/** @type {string} */ key, /** @type {string} */ value) => localStorage.setItem(key, value),
};

/**
 * @param {(id: string) => void} stored
 * @param {(id: string, why: string) => void} refused
 */
export function answersBox(stored, refused) {
  const box = new Outbox(
    store,
    (path, body) => ask("POST", path, body),
    {
      unkept: () => banner(KEEPS_NOTHING),
      waiting: (kept) => banner(`Connection lost. ${kept ? "Your answer waits here; it will be sent once." : KEEPS_NOTHING}`),
      stored: (id) => {
        banner("");
        stored(id);
      },
      refused,
    },
    "hushpoint.answers",
    (id) => `/practise/${id}/answer`,
  );
  window.addEventListener("online", () => void box.sendAll());
  window.addEventListener("beforeunload", (event) => {
    if (box.unkept) event.preventDefault();
  });
  return box;
}
