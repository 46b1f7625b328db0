// Small things kept by the browser; where it keeps nothing (full, or forbidden), they last until the page is left.

/** @type {Map<string, string>} */
const memory = new Map();

/**
 * @param {() => Storage} open asked each time: only to look at a forbidden store throws
 * @param {string} name
 * @param {string} [value] to be kept; without it the kept one is returned
 */
function remembered(open, name, value) {
  const key = `hushpoint.${name}`;
  if (value !== undefined) {
    memory.set(key, value);
    try {
      open().setItem(key, value);
    } catch {
      // memory has it
    }
    return value;
  }
  const here = memory.get(key);
  if (here !== undefined) return here;
  try {
    return open().getItem(key) ?? "";
  } catch {
    return "";
  }
}

/**
 * A setting kept on this device.
 * @param {string} name
 * @param {string} [value]
 */
export function setting(name, value) {
  return remembered(() => localStorage, name, value);
}

/**
 * What outlives a reload of this page and no more.
 * @param {string} name
 * @param {string} [value]
 */
export function passing(name, value) {
  return remembered(() => sessionStorage, name, value);
}

/** What outlives the page, for an outbox: only to name a forbidden store throws, and the outbox can catch that. */
export const lasting = {
  getItem: (/** @type {string} */ key) => localStorage.getItem(key),
  setItem: (/** @type {string} */ key, /** @type {string} */ value) => localStorage.setItem(key, value),
};
