// @ts-check
/**
 * What scripts write on a page, in the reader's language: scripts and the server's sentences speak English, and each text
 * that a script puts on a page is found in the catalogue by its shape (as words/sentences.py does). English pages need
 * none of it. A text that somebody typed is not ours: only whole sentences and the scripts' own words are taken.
 */

const LEAST_WORDS = 3;
const LEAST_FIXED = 5;
const SPOKEN = ["aria-label", "aria-valuetext", "title", "placeholder", "data-label"];
const AS_TYPED = "pre, textarea, input, code, output.raw";
const language = document.documentElement.lang || "en";

/** @typedef {{ fixed: string, shape: RegExp, names: string[], said: string }} Shaped */

/** @param {Record<string, string>} messages @param {string} comma */
export function speaker(messages, comma) {
  /** @type {Map<string, string>} */
  const known = new Map(Object.entries(messages));
  const shaped = [...known].filter(([text]) => /\{\w+\}/.test(text) && letters(text) >= LEAST_FIXED).sort(([a], [b]) => letters(b) - letters(a)).map(shapeOf);
  /** @type {Map<string, string | null>} */
  const found = new Map();

  /** @param {string} text @returns {string | null} */
  function exact(text) {
    const whole = known.get(text);
    if (whole !== undefined) return whole;
    if (text.split(/\s+/).length < LEAST_WORDS) return null;
    for (const { fixed, shape, names, said } of shaped) {
      const parts = text.includes(fixed) ? shape.exec(text) : null;
      if (parts) return said.replace(/\{(\w+)\}/g, (gap, name) => (names.includes(name) ? part(parts[names.indexOf(name) + 1] ?? "") : gap));
    }
    return null;
  }

  /** @param {string} text */
  function one(text) {
    const said = exact(text);
    if (said !== null) return said;
    const lower = text.charAt(0).toLowerCase() + text.slice(1);
    const again = lower === text ? null : exact(lower);
    return again === null ? null : again.charAt(0).toUpperCase() + again.slice(1);
  }

  /** @param {string} text @returns {string | null} */
  function whole(text) {
    let said = one(text);
    for (const end of [".", ";", ":"]) {
      const bare = said === null && text.endsWith(end) ? one(text.slice(0, -1)) : null;
      if (bare !== null) said = bare + end;
    }
    return said;
  }

  /** @param {string} text */
  function part(text) {
    const counted = /^([\d.]+) (\w+)$/.exec(text);
    const word = counted ? known.get(counted[2] ?? "") : undefined;
    const between = /^([+\u2212-]?[\d.]+) to ([+\u2212-]?[\d.]+)$/.exec(text);
    if (between) return `${between[1]} ${known.get("to") ?? "to"} ${between[2]}`;
    return sentence(text) ?? (counted && word !== undefined ? `${counted[1]} ${word}` : text);
  }

  /** @param {string} text @returns {string | null} */
  function eachInFull(text) {
    const pieces = text.split(/(?<=[.!?])\s+(?=[A-Z])/);
    const said = pieces.length > 1 ? pieces.map(whole) : [null];
    return said.includes(null) ? null : said.join(" ");
  }

  /** @param {string} text @returns {string | null} */
  function bracketed(text) {
    const [, before, within] = /^([^()]+) \((.+)\)$/s.exec(text) ?? [];
    if (before === undefined || within === undefined) return null;
    const said = [sentence(before), sentence(within)];
    return said[0] === null && said[1] === null ? null : `${said[0] ?? before} (${said[1] ?? within})`;
  }

  /** @param {string} text @returns {string | null} */
  function afterColon(text) {
    const at = text.indexOf(": ");
    if (at < 0) return null;
    const head = text.slice(0, at);
    const first = /\p{L}/u.test(head) ? sentence(head) : head;
    const said = first === null ? null : sentence(text.slice(at + 2));
    return said === null ? null : `${first}: ${said}`;
  }

  /** @param {string} text @returns {string | null} */
  function sentence(text) {
    const before = found.get(text);
    if (before !== undefined) return before;
    if (found.size > 4000) found.clear();
    let said = known.get(text) ?? eachInFull(text) ?? whole(text);
    said ??= bracketed(text) ?? afterColon(text) ?? inPieces(text, /(?<=[.;!?:])(\s+)/, false) ?? inPieces(text, /(, and |, | and | or )/, true);
    found.set(text, said);
    return said;
  }

  /** @param {string} text @param {RegExp} between @param {boolean} allOfThem @returns {string | null} */
  function inPieces(text, between, allOfThem) {
    const pieces = text.split(between);
    const parts = pieces.filter((_, place) => place % 2 === 0);
    if (parts.length < 2 || parts.includes("")) return null;
    let said = parts.map(sentence);
    if (said.includes(null)) {
      if (allOfThem) return null;
      said = said.map((one, place) => ((parts[place] ?? "").split(/\s+/).length >= LEAST_WORDS ? one : null));
    }
    if (said.every((one) => one === null)) return null;
    const joint = (/** @type {string} */ text) => text.replace(/[a-z]+/, (word) => known.get(word) ?? word);
    return pieces.map((piece, place) => (place % 2 ? joint(piece) : (said[place / 2] ?? piece))).join("");
  }

  return (/** @type {string} */ text) => {
    const bare = text.trim();
    if (!bare || !/[a-z]|\d\.\d/i.test(bare)) return text;
    const said = sentence(bare) ?? bare;
    return text.replace(bare, () => said.replace(/(?<![\d.:\w-])([+\u2212-]?\d+)\.(\d+)(?![\d.:\w-])/g, `$1${comma}$2`));
  };
}

/** @param {string} text */
function letters(text) {
  return (text.replace(/\{\w+\}/g, "").match(/\p{L}/gu) ?? []).length;
}

/** @param {[string, string]} message @returns {Shaped} */
function shapeOf([text, said]) {
  const parts = text.split(/\{(\w+)\}/);
  /** @type {string[]} */
  const names = [];
  const shape = parts.map((piece, place) => {
    if (place % 2 === 0) return piece.replace(/[.*+?^${}()|[\]\\]/g, "\\$&");
    names.push(piece);
    return "(.*?)";
  });
  const fixed = parts.filter((_, place) => place % 2 === 0).reduce((a, b) => (b.length > a.length ? b : a));
  return { fixed, shape: new RegExp(`^${shape.join("")}$`, "s"), names, said };
}

/** @param {(text: string) => string} say @param {Node} node */
function sayAgain(say, node) {
  if (node instanceof Text) {
    if (node.parentElement?.closest(AS_TYPED)) return;
    const said = say(node.data);
    if (said !== node.data) node.data = said;
    return;
  }
  if (!(node instanceof Element)) return;
  for (const name of SPOKEN) sayAttribute(say, node, name);
  for (const child of node.childNodes) sayAgain(say, child);
}

/** @param {(text: string) => string} say @param {Element} element @param {string} name */
function sayAttribute(say, element, name) {
  const text = element.getAttribute(name);
  const said = text === null ? null : say(text);
  if (said !== null && said !== text) element.setAttribute(name, said);
}

async function begin() {
  const answer = await fetch(`/words/${language}.json`);
  if (!answer.ok) return;
  const comma = new Intl.NumberFormat(language).formatToParts(0.5).find((one) => one.type === "decimal")?.value ?? ".";
  const say = speaker(await answer.json(), comma);
  const watch = new MutationObserver((changes) => {
    for (const change of changes) {
      if (change.type === "attributes") sayAttribute(say, /** @type {Element} */ (change.target), change.attributeName ?? "");
      else if (change.type === "characterData") sayAgain(say, change.target);
      else for (const added of change.addedNodes) sayAgain(say, added);
    }
    watch.takeRecords(); // what was said again just now is not to be looked at once more
  });
  watch.observe(document.body, { subtree: true, childList: true, characterData: true, attributes: true, attributeFilter: SPOKEN });
  sayAgain(say, document.body); // whatever scripts wrote before the words came
}

if (language !== "en") void begin();
