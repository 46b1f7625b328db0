// The rotation as it stands: the drawn part is asked for again every few seconds, and the clock runs on in between.

const EVERY_MS = 2500;

const part = document.getElementById("rotation");
const told = document.getElementById("live");
let from_ms = performance.now();

/** The clock: what is left when the part came, less what has gone by since. */
function tick() {
  for (const one of part?.querySelectorAll("[data-left-s]") ?? []) {
    const gone_s = one.getAttribute("data-held") ? 0 : (performance.now() - from_ms) / 1000;
    const left_s = Math.max(0, Math.round(Number(one.getAttribute("data-left-s")) - gone_s));
    one.textContent = `${Math.floor(left_s / 60)}:${String(left_s % 60).padStart(2, "0")}`;
  }
}

/** What is shown apart from the clock, so that nothing is drawn anew without need. @param {string} drawn */
const still = (drawn) => drawn.replace(/data-left-s="\d*"[^>]*>[^<]*/g, "");

/** The part as last drawn. */
let drawnLast = "";

async function look() {
  if (!part?.dataset.now) return;
  try {
    const answer = await fetch(part.dataset.now, { cache: "no-store" });
    if (!answer.ok) throw new Error(String(answer.status));
    const drawn = await answer.text();
    from_ms = performance.now();
    if (still(drawn) === drawnLast) {
      const left = /data-left-s="(\d+)"/.exec(drawn)?.[1];
      if (left !== undefined) part.querySelector("[data-left-s]")?.setAttribute("data-left-s", left);
    } else {
      const focused = document.activeElement;
      const act = focused && part.contains(focused) ? focused.getAttribute("data-act") : null;
      part.innerHTML = drawn;
      const again = act ? part.querySelector("[data-act]") : null;
      if (again instanceof HTMLElement) again.focus();
      drawnLast = still(drawn);
    }
    if (told) told.textContent = "";
  } catch {
    if (told) told.textContent = "Connection lost. The clock runs on; changes come when it is back.";
  }
  tick();
}

tick();
setInterval(tick, 250);
setInterval(() => void look(), EVERY_MS);

export {};
