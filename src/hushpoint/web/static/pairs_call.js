// The learner's phone opens a pair by itself: once for each pair, so that whoever goes away from it is not pulled back.

import { ask } from "./bench_dom.js";
import { passing } from "./bench_store.js";

const EVERY_MS = 2000;

/** Look for a pair that waits for this learner, and go on looking. */
export async function lookForPair() {
  try {
    const { status, data } = await ask("GET", "/practise/pairs/waiting");
    const place = document.getElementById("pair-call");
    if (status === 200 && data.pair) {
      if (passing("pair-opened") !== data.pair) {
        passing("pair-opened", data.pair);
        location.assign(`/practise/pairs/${data.pair}`);
        return;
      }
      const link = place?.querySelector("a");
      if (link) link.href = `/practise/pairs/${data.pair}`;
    }
    place?.toggleAttribute("hidden", !data.pair);
  } catch {
    // no connection: the next look may have one
  }
  setTimeout(() => void lookForPair(), EVERY_MS);
}

if (document.getElementById("pair-call")) void lookForPair();
