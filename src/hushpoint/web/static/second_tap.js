// The second tap of a double tap is for what was tapped first. Where the page has turned meanwhile, another control may lie
// under the finger: that one is left alone, so that nobody answers the next question, or closes a visit, by a nervous finger.

const DOUBLE_MS = 350;
const NEAR_PX = 24;
/** @type {{on: Element | null, at: number, x: number, y: number} | null} */
let before = null;
/** @param {EventTarget | null} target */
const controlOf = (target) => {
  const found = target instanceof Element ? target.closest("button,a,summary,label,input,select,textarea") : null;
  return found instanceof HTMLLabelElement ? (found.control ?? found) : found; // a label hands its tap on to its field
};
/** @param {MouseEvent} event */
const second = (event) => {
  if (!event.isTrusted || (!event.clientX && !event.clientY)) return; // by a script, or by the keyboard
  const on = controlOf(event.target);
  const touched = event instanceof PointerEvent && event.pointerType === "touch";
  const close = before && event.timeStamp - before.at < DOUBLE_MS && Math.hypot(event.clientX - before.x, event.clientY - before.y) < NEAR_PX;
  if (before && on && on !== before.on && (event.detail > 1 || (touched && close))) {
    event.preventDefault();
    event.stopImmediatePropagation();
    return;
  }
  before = { on, at: event.timeStamp, x: event.clientX, y: event.clientY };
};
addEventListener("click", second, true);

export {};
