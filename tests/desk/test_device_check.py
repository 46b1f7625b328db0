"""The device check: what is carried, which level is set, and that the faintest sound of the work is known."""

from __future__ import annotations

import io
import wave

import numpy as np
import pytest

from hushpoint.arm import ArmEffects, beat_table
from hushpoint.arm.playback import PLAYED_HZ, played_arm_db
from hushpoint.desk import device
from hushpoint.errors import BadInputError
from hushpoint.practice.forms import form
from hushpoint.practice.profiles import PROFILES, differences_db, profile_of
from hushpoint.practice.sealed import sealed_on
from hushpoint.practice.staircase import right_chance


def run(threshold_db: float, seed: int, profile: str = "headphones") -> device.Checked:
    """Let a simulated listener of this threshold go through a whole run."""
    rng = np.random.default_rng(seed)
    answers: list[list[object]] = []
    while True:
        found = device.step(profile, answers)
        if isinstance(found, device.Checked):
            return found
        assert found.taps == len(answers) < 40
        answers.append([found.level_db, bool(rng.random() < right_chance(found.level_db, threshold_db))])


@pytest.mark.parametrize("threshold_db", [-50.0, -44.0, -38.0])
def test_the_level_puts_the_faintest_sound_above_the_threshold(threshold_db: float) -> None:
    """A listener's threshold and the level that is set leave the faintest sound audible, never wastefully loud."""
    for seed in range(4):
        found = run(threshold_db, seed)
        assert found.carries
        above_db = device.FAINTEST_DB + found.level_db - threshold_db
        assert 2 < above_db < 11, (seed, found)


@pytest.mark.parametrize("threshold_db", [-22.0, -10.0, 5.0])
def test_a_device_that_loses_the_faintest_is_told_what_to_do(threshold_db: float) -> None:
    """Nothing is scored on it, and the words say what to try, not what is wrong with a person."""
    found = run(threshold_db, 1)
    assert not found.carries
    assert not found.sign_off
    assert "Turn the volume up" in found.words or "quieter place" in found.words


def test_speakers_are_never_for_sign_off() -> None:
    """A phone's own speaker may carry all sounds and still counts for practice only."""
    assert run(-45.0, 2, "headphones").sign_off
    assert run(-45.0, 2, "phone").carries
    assert not run(-45.0, 2, "phone").sign_off
    assert not run(-45.0, 2, "laptop").sign_off


def test_no_form_plays_a_fainter_muffled_sound() -> None:
    """Over forms of a series, the faintest audible phase IV lies at or above the level that the check is made for."""
    faintest = 0.0
    for number in (1, 2, 3):
        for item in form(17, number).items:
            made = sealed_on(item.person, item.seed, item.release_mmhg_per_s)
            beats_rng = np.random.default_rng(np.random.SeedSequence(made.seed).spawn(3)[0])
            table = beat_table(made.person, ArmEffects(), beats_rng)
            for beat in made.played().truth.beats:
                if beat.audible and beat.phase == "IV":
                    level_db = float(table.level_db[beat.index]) - table.loudness_db
                    level_db += float(np.interp(beat.place, table.gain_place, table.gain_db))
                    faintest = min(faintest, level_db + played_arm_db(table.loudness_db))
    print(f"faintest muffled sound {faintest:.1f} dB re phase III of the loudest arm")
    assert device.FAINTEST_DB - 1 < faintest < device.FAINTEST_DB + 6


@pytest.mark.parametrize("profile", list(PROFILES))
def test_rendered_sounds_keep_their_differences_on_each_profile(profile: str) -> None:
    """The very taps that a measurement plays: III to IV 29 dB, III to I 14 dB, within 3, on the profile's speaker.

    Taken from the rendered samples of one arm without swings, at beats well inside phases I, III and IV.
    """
    from dataclasses import replace

    from hushpoint.arm import Person, Swings

    person = replace(Person(), swings=Swings.off(), pulse_per_min=50.0, loudness_db=50.0)
    made = sealed_on(person, 3, 2.1).played(profile_of(profile))
    beats_rng = np.random.default_rng(np.random.SeedSequence(sealed_on(person, 3, 2.1).seed).spawn(3)[0])
    table = beat_table(person, ArmEffects(), beats_rng)
    takes: dict[str, list[np.ndarray]] = {}
    for phase in ("I", "III", "IV"):
        beats = [beat for beat in made.truth.beats if beat.audible and beat.phase == phase]
        beat = beats[len(beats) // 2]
        start = round(beat.at_s * made.rate_hz)
        tap = made.samples[start : start + round(0.25 * made.rate_hz)].astype(float)
        # brought to the phase's nominal level: where in the phase the beat fell is the arm's business
        tap /= 10 ** (float(np.interp(beat.place, table.gain_place, table.gain_db)) / 20)
        takes[phase] = [tap]
    upper_db, lower_db = differences_db(profile_of(profile), takes, PLAYED_HZ)
    print(f"{profile}: III to I {upper_db:.1f} dB, III to IV {lower_db:.1f} dB")
    assert upper_db == pytest.approx(14, abs=3)
    assert lower_db == pytest.approx(29, abs=3)


def test_tap_sounds_are_wav_and_differ_between_profiles() -> None:
    """Raised in pitch for a speaker, unaltered for headphones."""
    made = {profile: device.tap_sound(profile, "III") for profile in PROFILES}
    assert len(set(made.values())) == 3
    with wave.open(io.BytesIO(made["headphones"])) as heard:
        assert heard.getframerate() == PLAYED_HZ


def test_nonsense_is_refused() -> None:
    """Answers that are none, levels beyond the range, unknown profiles and phases: one line each."""
    for answers in (None, {}, [1], [[-20.0]], [[-20.0, 1]], [[5.0, True]], [[True, True]], [[-20.0, True]] * 60):
        with pytest.raises(BadInputError):
            device.step("headphones", answers)
    with pytest.raises(BadInputError):
        device.step("drum", [])
    with pytest.raises(BadInputError):
        device.tap_sound("headphones", "V")
