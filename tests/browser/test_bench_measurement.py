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

TAP = """() => {
  const { context, out } = hushpoint.facts();
  const tap = context.createScriptProcessor(16384, 1, 1);
  const blocks = [];
  tap.onaudioprocess = (event) => blocks.push(new Float32Array(event.inputBuffer.getChannelData(0)));
  // one full-scale sample at a known frame says where the captured blocks lie on the audio clock
  const click = context.createBuffer(1, 1, context.sampleRate);
  click.getChannelData(0)[0] = 1;
  const source = context.createBufferSource();
  source.buffer = click;
  const frame = Math.round((context.currentTime + 0.4) * context.sampleRate);
  source.connect(tap);
  source.start(frame / context.sampleRate);
  out.connect(tap);
  tap.connect(context.destination);
  window.captured = { blocks, frame };
}"""

COMPARE = """async () => {
  const { context, out, planned, zero_s } = hushpoint.facts();
  const { blocks, frame } = captured;
  const all = new Float32Array(blocks.reduce((sum, block) => sum + block.length, 0));
  blocks.reduce((at, block) => (all.set(block, at), at + block.length), 0);
  const click = all.indexOf(1);
  const first = frame - click;
  all[click] = 0;
  const offline = new OfflineAudioContext(1, all.length, context.sampleRate);
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
    for (let n = 10; n < all.length - 10; n += 1) most = Math.max(most, Math.abs(all[n] - wanted[n + shift]));
    return most;
  };
  const loudest = (from_s, to_s) => {
    const part = all.subarray(
      Math.max(0, Math.round((from_s + zero_s) * context.sampleRate) - first),
      Math.max(0, Math.round((to_s + zero_s) * context.sampleRate) - first));
    return part.reduce((most, one) => Math.max(most, Math.abs(one)), 0);
  };
  window.loudest = loudest;
  return { click, apart: apart(0), early: apart(1), late: apart(-1), samples: all.length };
}"""

# The browser's own word for when a context time leaves the loudspeaker, beside what the needle was drawn for.
NEEDLE_LATE = """() => new Promise((done) => {
  const { context, zero_s } = hushpoint.facts();
  const apart = [];
  const look = () => {
    const last = hushpoint.facts().trace.at(-1);
    const sound = context.getOutputTimestamp();
    const heard_s = sound.contextTime + (performance.now() - sound.performanceTime) / 1000 - zero_s;
    apart.push(1000 * (last.clock_s - heard_s));
    if (apart.length < 120) requestAnimationFrame(look);
    else done(apart.sort((a, b) => a - b));
  };
  requestAnimationFrame(look);
})"""


@pytest.fixture(scope="module")
def bench_site(tmp_path_factory):
    """The whole app, served from here with its ledger at hand."""
    with served(tmp_path_factory.mktemp("bench")) as running:
        yield running


@pytest.mark.parametrize("origin", ORIGINS)
@pytest.mark.parametrize("by", list(WAYS))
def test_a_whole_measurement(bench_site, chromium, by, origin):
    """Set-up, feeling, pumping, releasing, writing and judgement work, and sound is where the truth says."""
    with chromium.new_context(**WAYS[by]) as context:
        learner = new_learner(context, by)
        page = learner.page
        learner.join_alone(bench_site, origin)
        assert page.evaluate("hushpoint.facts().context") is None
        learner.set_up(guided=by == "keyboard")
        learner.feel()
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight || innerWidth > 900") is True
        page.evaluate(TAP)
        page.wait_for_timeout(1000)  # the click comes and goes while the cuff is empty and nothing else sounds
        learner.pump(150)
        learner.turn_valve(60)
        learner.until("hushpoint.facts().run.now_mmhg < 130")
        apart_ms = page.evaluate(NEEDLE_LATE)
        learner.until("hushpoint.facts().run.now_mmhg < 52")
        assert "mmHg" not in page.inner_text(".hands-head")
        learner.open_fully()
        learner.wait_for_entry()
        compared = page.evaluate(COMPARE)
        learner.write("121", "73")
        judged = learner.judgement()

        # the needle and the sound belong together within 20 ms, output latency counted in
        assert abs(apart_ms[len(apart_ms) // 2]) < 20
        # what was captured is the schedule to the frame: one frame off would show
        assert compared["click"] > 0
        assert compared["apart"] < 1e-4
        assert min(compared["early"], compared["late"]) > 10 * compared["apart"]
        # by the server's truth: silent above, silent below, and a sound at every beat between
        beats = judged["picture"]["beats"]
        truth = judged["truth"]
        heard = [beat for beat in beats if beat["audible"]]
        assert len(heard) >= 4
        for beat in beats:
            script = f"loudest({beat['at_s'] - 0.002}, {beat['at_s'] + 0.15})"
            loudest = page.evaluate(script)
            assert (loudest > 1e-4) == beat["audible"], beat
        top, low = heard[0], heard[-1]
        assert page.evaluate(f"loudest({beats[0]['at_s'] - 0.002}, {top['at_s'] - 0.002})") < 1e-6
        assert page.evaluate(f"loudest({low['at_s'] + 0.6}, {low['at_s'] + 4})") < 1e-6
        assert truth["diastolic"]["mmhg"] == pytest.approx(low["mmhg"], abs=0.1)
        # the log came home whole
        filed = list(bench_site.ledger.rows(kinds=[Kind.MEASUREMENT_FILED]))[-1].body["log"]
        assert filed["input"] == by
        assert filed["reading"] == {"systolic": 121, "diastolic": 73, "muffling": None}
        assert filed["visible_pulse"] is False
        assert page.evaluate("localStorage.getItem('hushpoint.outbox')") == "[]"
        assert learner.faults == []
