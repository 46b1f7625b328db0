// Keeps a board or a wall up to date: the server sends the drawn part whenever something was stored.

import { follow } from "./stream.js";

/** What tells that a link or a button is the same as before. @param {Element} one */
const keyOf = (one) => one.getAttribute("href") ?? one.getAttribute("data-act");

const board = document.getElementById("board");
const live = document.getElementById("live");
if (board && live && board.dataset.events) {
  const drawn = (/** @type {string} */ part) => {
    const focused = document.activeElement;
    const held = board.contains(focused) && focused ? keyOf(focused) : null;
    board.innerHTML = part;
    live.textContent = "";
    if (held) {
      const again = [...board.querySelectorAll("a, button")].find((one) => keyOf(one) === held);
      if (again instanceof HTMLElement) again.focus();
    }
  };
  follow(`${board.dataset.events}?after=${board.dataset.seq}`, "board", drawn, () => {
    live.textContent = "Connection lost. What you see is from before; it goes on by itself.";
  });
}
