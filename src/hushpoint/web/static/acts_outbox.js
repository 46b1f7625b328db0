// The outbox of pairs and technique sheets: an act is named by the address it is sent to, and carries its own ref.

import { ask } from "./bench_dom.js";
import { Outbox } from "./bench_outbox.js";
import { lasting } from "./bench_store.js";

export const KEEPS_NOTHING = "This browser keeps nothing; do not close the page until it is sent.";

/** @param {import("./bench_outbox.js").Told} told */
export function actsOutbox(told) {
  return new Outbox(lasting, (path, body) => ask("POST", path, body), told, "hushpoint.acts", (path) => path);
}
