"""On every profile phases III, I and IV stand as far apart at the ear as through headphones."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from hushpoint.arm import Person, phase_sounds, render_measurement
from hushpoint.errors import BadInputError
from hushpoint.practice.profiles import (
    PROFILES,
    Profile,
    differences_db,
    profile_of,
    profile_sounds,
    sensation_db,
)

RATE_HZ = 8000
PUBLISHED = Path(__file__).resolve().parents[1] / "published" / "speaker_profiles.csv"
with PUBLISHED.open(encoding="utf-8") as _file:
    ROWS = list(csv.DictReader(_file))


def differences(profile: Profile) -> tuple[float, float]:
    """Return III-I and III-IV [dB] on a profile."""
    return differences_db(profile, profile_sounds(profile, Person(), np.random.default_rng(4), RATE_HZ), RATE_HZ)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['profile']} {row['quantity']}")
def test_fact_19_sensation_differences_on_each_profile(row: dict[str, str]) -> None:
    """III to IV 29 dB, III to I 14 dB, within 3, whatever plays them."""
    found = dict(zip(("III-I", "III-IV"), differences(profile_of(row["profile"])), strict=True))
    print(f"{row['profile']} {row['quantity']}: {found[row['quantity']]:.1f} dB")
    assert found[row["quantity"]] == pytest.approx(float(row["expected_db"]), abs=float(row["tolerance_db"]))


@pytest.mark.parametrize("profile_id", ["laptop", "phone"])
def test_unraised_a_small_speaker_would_lose_the_muffled_sounds(profile_id: str) -> None:
    """Unraised, phase IV comes at least 15 dB fainter than through headphones; raised and lifted, no fainter."""
    profile, rng = profile_of(profile_id), np.random.default_rng(4)
    own = phase_sounds(Person(), rng, RATE_HZ)["IV"][0]
    raised = profile_sounds(profile, Person(), rng, RATE_HZ)["IV"][0]
    wanted = sensation_db(own, RATE_HZ, PROFILES["headphones"])
    assert sensation_db(own, RATE_HZ, profile) < wanted - 15
    assert sensation_db(raised, RATE_HZ, profile) >= wanted


def test_headphones_play_unaltered_and_alone_count() -> None:
    """Their sounds are the arm's own, sample for sample; the others say that the pitch is raised."""
    own = phase_sounds(Person(), np.random.default_rng(4), RATE_HZ)
    played = profile_sounds(PROFILES["headphones"], Person(), np.random.default_rng(4), RATE_HZ)
    assert all(np.array_equal(a, b) for phase in own for a, b in zip(own[phase], played[phase], strict=True))
    assert [profile.id for profile in PROFILES.values() if profile.sign_off] == ["headphones"]
    assert all("pitch raised" in profile.says for profile in PROFILES.values() if not profile.sign_off)


def test_a_recording_is_raised_and_its_truth_is_not() -> None:
    """Rendered in a phone's voice the truth stays, the sound changes."""
    phone = PROFILES["phone"]

    def voice(person: Person, rng: np.random.Generator, rate_hz: int) -> dict[str, list[np.ndarray]]:
        return profile_sounds(phone, person, rng, rate_hz)

    person = replace(Person(), systolic_mmhg=132.0)
    own = render_measurement(person, release_mmhg_per_s=2.5, seed=3)
    raised = render_measurement(person, release_mmhg_per_s=2.5, seed=3, voice=voice)
    assert raised.truth == own.truth
    assert not np.array_equal(raised.samples, own.samples)


def test_an_unknown_profile_is_refused_with_the_list() -> None:
    """One line that names them."""
    with pytest.raises(BadInputError, match="headphones, laptop, phone"):
        profile_of("loudspeaker")
