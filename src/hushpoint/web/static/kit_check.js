// @ts-check
// Shows each row's error while it is typed. The server judges anew: this is a hint at the bench, no result.

const form = document.querySelector("form[data-check]");

/** @param {string} text @returns {number | null} */
function numberIn(text) {
  const plain = text.trim().replace(",", ".");
  return /^[+-]?\d+(\.\d+)?$/.test(plain) ? Number(plain) : null;
}

/** @param {HTMLFormElement} sheet */
function limits(sheet) {
  const rule = sheet.querySelector("select[name=rule]");
  const chosen = rule instanceof HTMLSelectElement ? rule.selectedOptions[0] : undefined;
  const field = sheet.querySelector("input[name=error]");
  const own = sheet.querySelector("input[name=limit]");
  const local = chosen?.value === "local" && own instanceof HTMLInputElement ? numberIn(own.value) : null;
  const certificate = field instanceof HTMLInputElement ? (numberIn(field.value) ?? 0) : 0;
  return { error: local ?? Number(chosen?.dataset.error), zero: local ?? Number(chosen?.dataset.zero), certificate };
}

/** @param {HTMLFormElement} sheet */
function tell(sheet) {
  const { error: most, zero, certificate } = limits(sheet);
  for (const row of sheet.querySelectorAll("tr[data-row]")) {
    const [reference, reading] = [...row.querySelectorAll("input")].map((field) => numberIn(field.value));
    const told = row.querySelector(".told");
    if (!told) continue;
    if (reference == null || reading == null) {
      told.textContent = "";
      continue;
    }
    const error = Math.round((reading - reference) * 1e6) / 1e6;
    const limit = reference === 0 ? zero : most;
    const out = Math.round((Math.abs(error) + certificate) * 1e6) / 1e6 > limit;
    const size = error === 0 ? "0" : `${error > 0 ? "+" : "−"}${Math.abs(error)}`;
    told.textContent = out ? `${size} outside` : size;
    told.classList.toggle("out", out);
  }
}

if (form instanceof HTMLFormElement) {
  form.addEventListener("input", () => tell(form));
  tell(form);
}
