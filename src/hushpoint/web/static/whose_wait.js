// Loads the page again while the server is still working on what it shows.

const working = document.getElementById("working");
if (working?.dataset.againS) setTimeout(() => location.reload(), 1000 * Number(working.dataset.againS));
