"""A whole measurement in Chromium, by mouse, touch and keyboard, on a secure and on a plain-http origin."""

from __future__ import annotations

import pytest

from bench_driver import ORIGINS, new_learner, served
from hushpoint.ledger.records import Kind

pytestmark = pytest.mark.browser

WAYS = {
    "mouse": {"viewport": {"width": 1280, "height": 800}},
    "touch": {"viewport": {"width": 360, "height": 560}, "has_touch": True, "is_mobile": True},
    "keyboard": {"viewport": {"width": 1280, "height": 800}},
}

# Beside the sound runs a count of frames, exact in 32-bit floats: it says where each captured block lies on the audio
# clock, whatever a busy machine drops between blocks.
TAP = """() => {
  const { context, out } = hushpoint.facts();
  const rate = context.sampleRate;
  const tap = context.createScriptProcessor(8192, 2, 1);
  const blocks = [];
  tap.onaudioprocess = ({ inputBuffer }) => {
    const frames = inputBuffer.getChannelData(1);
    blocks.push([new Float32Array(inputBuffer.getChannelData(0)), frames[0], frames.at(-1)]);
  };
  const count = context.createBuffer(1, 100 * rate, rate);
  count.getChannelData(0).forEach((_, frame, all) => { all[frame] = frame / 2 ** 24; });
  const counting = context.createBufferSource();
  counting.buffer = count;
  const first = Math.round((context.currentTime + 0.2) * rate);
  const both = context.createChannelMerger(2);
  out.connect(both, 0, 0);
  counting.connect(both, 0, 1);
  counting.start(first / rate);
  both.connect(tap);
  tap.connect(context.destination);
  window.captured = { blocks, first, counting, tap };
}"""

# What was captured, frame by frame from the first counted one, beside the schedule rendered offline.
COMPARE = """async () => {
  const { context, out, planned, zero_s } = hushpoint.facts();
  const { blocks, first, counting, tap } = captured;
  tap.onaudioprocess = null;
  counting.stop();
  const unbroken = ([sound, from, to]) => from > 0 && Math.round((to - from) * 2 ** 24) === sound.length - 1;
  const whole = blocks.filter(unbroken);
  const length = Math.round(Math.max(...whole.map(([, , to]) => to)) * 2 ** 24) + 1;
  const all = new Float32Array(length).fill(NaN);
  for (const [sound, from] of whole) all.set(sound, Math.round(from * 2 ** 24));
  const offline = new OfflineAudioContext(1, length, context.sampleRate);
  for (const one of planned.filter((each) => each.frame >= first)) {
    const source = offline.createBufferSource();
    const volume = offline.createGain();
    volume.gain.value = one.gain * out.gain.value;
    source.buffer = one.source.buffer;
    source.connect(volume).connect(offline.destination);
    source.start((one.frame - first) / context.sampleRate);
  }
  const wanted = (await offline.startRendering()).getChannelData(0);
  const apart = (shift) => {
    let most = 0;
    for (let n = 10; n < all.length - 10; n += 1) {
      if (!Number.isNaN(all[n])) most = Math.max(most, Math.abs(all[n] - wanted[n + shift]));
    }
    return most;
  };
  // the loudest sample of a stretch of the clock; null where any of it was not captured
  window.loudest = (from_s, to_s) => {
    const place = (at_s) => Math.round((at_s + zero_s) * context.sampleRate) - first;
    if (place(from_s) < 0 || place(to_s) > all.length) return null;
    const most = all.subarray(place(from_s), place(to_s)).reduce((most, one) => Math.max(most, Math.abs(one)), 0);
    return Number.isNaN(most) ? null : most;
  };
  return { blocks: whole.length, apart: apart(0), early: apart(1), late: apart(-1) };
}"""

# The browser's own word for when a context time leaves the loudspeaker, beside what the needle was drawn for: once a
# frame over the whole release. The median counts, as a busy machine draws single frames late.
NEEDLE_LATE = """() => {
  const { context, zero_s } = hushpoint.facts();
  window.apart_ms = [];
  const look = () => {
    const last = hushpoint.facts().trace.at(-1);
    const sound = context.getOutputTimestamp();
    const heard_s = sound.contextTime + (performance.now() - sound.performanceTime) / 1000 - zero_s;
    window.apart_ms.push(1000 * (last.clock_s - heard_s));
    if (hushpoint.facts().run.now_mmhg > 52) requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
}"""


@pytest.fixture(scope="module")
def bench_site(tmp_path_factory):
    """The whole app, served from here with its ledger at hand."""
    with served(tmp_path_factory.mktemp("bench")) as running:
        yield running


# a phone comes over plain http by the laptop's address, as every learner in a class does; the other ways are hard
COMMON = {("touch", "classroom.test")}


@pytest.mark.parametrize(
    ("by", "origin"),
    [
        pytest.param(by, origin, marks=[] if (by, origin) in COMMON else [pytest.mark.hard])
        for by in WAYS
        for origin in ORIGINS
    ],
)
def test_a_whole_measurement(bench_site, chromium, by, origin):
    """Set-up, feeling, pumping, releasing, writing and judgement work, and sound is where the truth says."""
    with chromium.new_context(**WAYS[by]) as context:
        learner = new_learner(context, by)
        page = learner.page
        learner.join_alone(bench_site.at(origin))
        assert page.evaluate("hushpoint.facts().context") is None
        learner.set_up(guided=by == "keyboard")
        learner.feel()
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight || innerWidth > 900") is True
        learner.pump(150)
        page.evaluate(TAP)
        page.wait_for_timeout(500)  # the count begins while the valve is shut
        learner.turn_valve(66)
        page.evaluate(NEEDLE_LATE)
        learner.until("hushpoint.facts().run.now_mmhg < 52")
        assert "mmHg" not in page.inner_text(".hands-head")
        learner.open_fully()
        learner.wait_for_entry()
        page.wait_for_timeout(300)
        compared = page.evaluate(COMPARE)
        apart_ms = sorted(page.evaluate("apart_ms"))
        learner.write("121", "73")
        judged = learner.judgement()

        # the needle and the sound belong together within 20 ms, output latency counted in
        middle_ms = apart_ms[len(apart_ms) // 2]
        print(f"{by}, {origin}: needle less sound {middle_ms:.1f} ms in the middle of {len(apart_ms)} frames")
        assert abs(middle_ms) < 20
        # what was captured is the schedule to the frame: one frame off would show
        assert compared["blocks"] > 20
        assert compared["apart"] < 1e-4
        assert min(compared["early"], compared["late"]) > 10 * compared["apart"]
        # by the server's truth: silent above, silent below, and a sound at every beat between
        beats = judged["picture"]["beats"]
        truth = judged["truth"]
        heard = [beat for beat in beats if beat["audible"]]
        assert len(heard) >= 4
        captured = 0
        for beat in beats:
            loudest = page.evaluate(f"loudest({beat['at_s'] - 0.002}, {beat['at_s'] + 0.15})")
            if loudest is not None:
                captured += beat["audible"]
                assert (loudest > 1e-4) == beat["audible"], beat
        assert captured >= len(heard) / 2
        silent = [beat["mmhg"] for beat in beats if not beat["audible"]]
        assert max(silent) > heard[0]["mmhg"] > heard[-1]["mmhg"] > min(silent)
        assert truth["diastolic"]["mmhg"] == pytest.approx(heard[-1]["mmhg"], abs=0.1)
        # the log came home whole
        filed = list(bench_site.ledger.rows(kinds=[Kind.MEASUREMENT_FILED]))[-1].body["log"]
        assert filed["input"] == by
        assert filed["reading"] == {"systolic": 121, "diastolic": 73, "muffling": None}
        assert filed["visible_pulse"] is False
        assert page.evaluate("localStorage.getItem('hushpoint.outbox')") == "[]"
        assert learner.faults == []
