// @ts-check
// Says at the head of the picker what is picked now, so that it need not be opened to be sure.

for (const picker of document.querySelectorAll("details.kit-pick")) {
  picker.addEventListener("change", (event) => {
    const input = event.target;
    if (!(input instanceof HTMLInputElement)) return;
    const told = picker.querySelector(`[data-picked="${input.name}"]`);
    if (told) told.textContent = input.dataset.label ?? "";
  });
}
