// Before a recording is sent: one that is too large is told at once, not after a long upload.

import { byId, inputById } from "./bench_dom.js";

const form = byId("bring-in");
const most = Number(form.dataset.most);

form.addEventListener("submit", (event) => {
  const files = ["sound", "pressure"].flatMap((id) => [...(inputById(id).files ?? [])]);
  const bytes = files.reduce((sum, file) => sum + file.size, 0);
  const told = byId("too-large");
  told.hidden = bytes <= most - 2000; // the form around the files takes a little too
  if (told.hidden) return;
  told.textContent = `The files are ${(bytes / 1e6).toFixed(1)} MB; at most ${most / 1e6} MB are taken. Save the sound as FLAC or at a lower rate; 4 kHz is enough.`;
  event.preventDefault();
});
