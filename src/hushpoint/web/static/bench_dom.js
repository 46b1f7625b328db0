// Small helpers to build elements and to speak with the server.

/**
 * @param {string} id
 * @returns {HTMLElement}
 */
export function byId(id) {
  const found = document.getElementById(id);
  if (!found) throw new Error(`no element with id ${id}`);
  return found;
}

/**
 * @param {string} id
 * @returns {HTMLInputElement}
 */
export function inputById(id) {
  return /** @type {HTMLInputElement} */ (byId(id));
}

/**
 * An HTML element with attributes and children.
 * @param {string} tag
 * @param {Record<string, string | number | boolean>} [attributes]
 * @param {(Node | string)[]} children
 */
export function el(tag, attributes = {}, ...children) {
  return filled(document.createElement(tag), attributes, children);
}

/**
 * An SVG element with attributes and children.
 * @param {string} tag
 * @param {Record<string, string | number | boolean>} [attributes]
 * @param {(Node | string)[]} children
 */
export function svg(tag, attributes = {}, ...children) {
  return filled(document.createElementNS("http://www.w3.org/2000/svg", tag), attributes, children);
}

/**
 * @template {Element} E
 * @param {E} element
 * @param {Record<string, string | number | boolean>} attributes
 * @param {(Node | string)[]} children
 */
function filled(element, attributes, children) {
  for (const [name, value] of Object.entries(attributes)) {
    if (value !== false) element.setAttribute(name, value === true ? "" : String(value));
  }
  element.append(...children);
  return element;
}

/**
 * Ask the server; throws where it cannot be reached.
 * @param {string} method
 * @param {string} path
 * @param {unknown} [body]
 * @returns {Promise<{status: number, data: any}>}
 */
export async function ask(method, path, body) {
  const answer = await fetch(path, {
    method,
    headers: { Accept: "application/json", ...(body === undefined ? {} : { "Content-Type": "application/json" }) },
    body: body === undefined ? null : JSON.stringify(body),
    cache: "no-store",
  });
  const data = await answer.json().catch(() => ({}));
  return { status: answer.status, data };
}

/** A random id; crypto.randomUUID is missing on plain http. */
export function newId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return Array.from(bytes, (one) => one.toString(16).padStart(2, "0")).join("");
}
