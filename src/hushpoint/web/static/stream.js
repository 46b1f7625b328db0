// @ts-check
// Follows a stream of events for as long as the page is open.

/** How long after a refused stream it is asked for again [ms]: long enough for a crowd to come back one by one. */
const AGAIN_MS = [2000, 8000];

/**
 * A lost connection the browser takes up again by itself; a stream that was refused (the server is full, or its store
 * was away for a moment) is asked for again here.
 * @param {string} address
 * @param {string} name the event that is waited for
 * @param {(data: string) => void} take
 * @param {() => void} lost
 */
export function follow(address, name, take, lost) {
  const events = new EventSource(address);
  events.addEventListener(name, (event) => take(/** @type {MessageEvent} */ (event).data));
  events.addEventListener("error", () => {
    lost();
    if (events.readyState !== EventSource.CLOSED) return;
    events.close();
    setTimeout(() => follow(address, name, take, lost), AGAIN_MS[0] + Math.random() * (AGAIN_MS[1] - AGAIN_MS[0]));
  });
}
