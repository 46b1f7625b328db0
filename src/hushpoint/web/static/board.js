// Keeps a board or a wall up to date: the server sends the drawn part whenever something was stored.

const board = document.getElementById("board");
const live = document.getElementById("live");
if (board && live && board.dataset.events) {
  const events = new EventSource(`${board.dataset.events}?after=${board.dataset.seq}`);
  events.addEventListener("board", (event) => {
    const focused = document.activeElement;
    const held = board.contains(focused) && focused instanceof HTMLAnchorElement ? focused.getAttribute("href") : null;
    board.innerHTML = event.data;
    live.textContent = "";
    if (held) {
      const again = [...board.querySelectorAll("a")].find((link) => link.getAttribute("href") === held);
      again?.focus();
    }
  });
  events.addEventListener("error", () => {
    live.textContent = "Connection lost. What you see is from before; it goes on by itself.";
  });
}
