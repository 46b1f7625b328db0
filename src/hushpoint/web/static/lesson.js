// The moving line of the lesson: where in the picture the sound is now.

const heard = document.getElementById("sound");
const drawn = document.getElementById("picture");
const line = document.getElementById("now");

function move() {
  if (heard instanceof HTMLAudioElement && drawn && line) {
    const across = (Number(drawn.dataset.width) * heard.currentTime) / Number(drawn.dataset.seconds);
    for (const end of ["x1", "x2"]) line.setAttribute(end, across.toFixed(1));
  }
  requestAnimationFrame(move);
}

requestAnimationFrame(move);

export {};
