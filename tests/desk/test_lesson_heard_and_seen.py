"""The lesson: phases in order, a gap that a fixed target misses, questions whose answers are true."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile

from hushpoint.desk import lesson
from hushpoint.errors import BadInputError


def samples(wav: bytes) -> tuple[np.ndarray, int]:
    data, rate_hz = soundfile.read(io.BytesIO(wav))
    return data, rate_hz


def test_phases_stand_in_order_and_the_gap_between_them() -> None:
    """An ordinary arm shows I, II, III, IV from left to right; the arm with a gap shows the gap too."""
    assert [one["phase"] for one in lesson.picture(lesson.Shown())["spans"]] == ["I", "II", "III", "IV"]
    assert "gap" in [one["phase"] for one in lesson.picture(lesson.Shown("gap"))["spans"]]


def test_a_fixed_target_misses_what_the_palpated_one_finds() -> None:
    """On the arm with a gap a fixed 160 begins in the gap: at least 30 mmHg of systolic are missed."""
    found = {one["target"]: one for one in lesson.missed(lesson.Shown("gap"))}
    assert int(found["palpated"]["systolic"]) - int(found["fixed_160"]["systolic"]) >= 30
    assert abs(int(found["palpated"]["diastolic"]) - int(found["fixed_160"]["diastolic"])) <= 6
    assert not found["fixed_180"]["systolic"].isdigit() or int(found["fixed_180"]["systolic"]) < 181


def test_the_sound_lasts_as_long_as_the_picture_and_slowed_longer() -> None:
    """The moving line needs both alike; a slower release has more beats."""
    for shown in (lesson.Shown(), lesson.Shown(speed="slow")):
        data, rate_hz = samples(lesson.sound(shown, "headphones"))
        assert len(data) / rate_hz == pytest.approx(lesson.picture(shown)["seconds"], abs=0.05)
    usual, slow = (len(lesson.picture(lesson.Shown(speed=one))["bars"]) for one in ("usual", "slow"))
    assert slow > 1.5 * usual


def test_answers_are_true_of_what_is_heard() -> None:
    """Over 24 seeds all answers come; after a gap or an end there is silence; a clip is never empty."""
    told: dict[str, set[str]] = {what: set() for what in lesson.QUESTIONS}
    for seed in range(24):
        for what in lesson.QUESTIONS:
            wav, words = lesson.question(what, seed)
            data, rate_hz = samples(wav)
            told[what].add(words.partition(":")[0])
            assert np.abs(data).max() > 0.001
            assert 0.5 < len(data) / rate_hz < 10
            if what == "gap":
                assert np.abs(data[-2 * rate_hz :]).max() < 0.001
    assert told["phase"] == {"phase I", "phase II", "phase III", "phase IV"}
    assert told["gap"] == {"a gap", "the end"}
    assert told["rhythm"] == {"regular", "not regular"}


@pytest.mark.parametrize("wrong", [{"person": "x"}, {"speed": "x"}, {"target": "x"}, {"seed": -1}])
def test_unknown_choices_are_refused(wrong: dict[str, object]) -> None:
    """One line with what is legal."""
    with pytest.raises(BadInputError):
        lesson.Shown(**wrong)  # type: ignore[arg-type]
    with pytest.raises(BadInputError, match="phase, gap, rhythm"):
        lesson.question("x", 1)
