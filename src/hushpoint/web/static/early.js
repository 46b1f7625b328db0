// @ts-check
// A tap that comes before the page's scripts listen is kept and given to them once they do. Loaded first and in one piece
// (not as a module): on a slow phone the buttons can be seen a second or two before the modules have arrived.
(() => {
  /** @type {HTMLElement | null} */
  let waiting = null;
  /** @param {Event} event */
  const keep = (event) => {
    const button = event.target instanceof Element ? event.target.closest("button") : null;
    if (!button || button.disabled || button.form?.hasAttribute("action")) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    waiting = button;
  };
  addEventListener("click", keep, true);
  addEventListener("DOMContentLoaded", () => {
    removeEventListener("click", keep, true);
    waiting?.click();
  });
})();
