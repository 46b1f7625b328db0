// Answers to rounds and papers on their way to the server: kept before sending, sent until acknowledged, once.

import { actsOutbox, KEEPS_NOTHING } from "./acts_outbox.js";
import { banner } from "./bench_stage.js";

/**
 * @param {(path: string) => void} stored
 * @param {(path: string, why: string) => void} refused
 */
export function answersBox(stored, refused) {
  const box = actsOutbox({
    unkept: () => banner(KEEPS_NOTHING),
    waiting: (kept) => banner(`Connection lost. ${kept ? "Your answer waits here; it will be sent once." : KEEPS_NOTHING}`),
    stored: (path) => {
      banner("");
      stored(path);
    },
    refused,
  });
  window.addEventListener("beforeunload", (event) => {
    if (box.unkept) event.preventDefault();
  });
  return box;
}
