// @ts-check
// kPa beside mmHg where this device asks for it; what was read stays in mmHg.

const KPA_PER_MMHG = 0.133322387415; // ISO 80000-4
const root = typeof document === "undefined" ? null : document.documentElement;

/**
 * A reading in kPa in brackets, to 0.1 kPa, or "" on a device that shows mmHg alone.
 * @param {(number | null | undefined)[]} ends systolic and diastolic [mmHg]; null where not heard
 */
export function besideKpa(ends, asked = root?.dataset.pressures === "kPa", language = root?.lang ?? "en") {
  if (!asked || ends.every((one) => one === null || one === undefined)) return "";
  const form = new Intl.NumberFormat(language, { minimumFractionDigits: 1, maximumFractionDigits: 1 });
  return ` (${ends.map((one) => (one === null || one === undefined ? "\u2013" : form.format(one * KPA_PER_MMHG))).join("/")} kPa)`;
}
