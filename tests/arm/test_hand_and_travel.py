"""Whole logs made by a hand, the needle over them, and the table that travels to the page."""

from __future__ import annotations

import base64
import json

import numpy as np
import pytest

from hushpoint.arm import (
    STANDARD_CUFF,
    ArmEffects,
    Person,
    Swings,
    arm_table,
    beat_table,
    held_release,
    needle_mmhg,
    phase_sounds,
    truth_of,
)
from hushpoint.errors import BadInputError
from hushpoint.practice.log import check_log


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


@pytest.mark.parametrize("rate", [1.5, 2.5, 5.0])
def test_the_hand_releases_at_the_rate_asked_for(rate: float) -> None:
    """Between 140 and 80 the cuff falls at the asked rate within 10 %."""
    time, line, _ = held_release(STANDARD_CUFF, 160, rate, rng())
    falling = np.flatnonzero((time > time[line.argmax()]) & (line < 140) & (line > 80))
    fitted = -np.polyfit(time[falling], line[falling], 1)[0]
    assert fitted == pytest.approx(rate, rel=0.1)


def test_a_hand_made_log_is_one_that_the_server_files() -> None:
    """Plain, stopped and pumped-again releases all pass the check of logs, with every hold and rise found."""
    plans = [{}, {"stop_at_mmhg": 110.0, "stop_s": 5.0}, {"pump_again_at_mmhg": 120.0}, {"unsteady": 0.3}]
    logs = []
    for number, plan in enumerate(plans):
        time, line, events = held_release(STANDARD_CUFF, 160, 2.5, rng(number), **plan)
        logs.append(
            check_log(
                {
                    "time_s": time.tolist(),
                    "pressure_mmhg": line.tolist(),
                    "events": events,
                    "pulse": None,
                    "palpated_mmhg": None,
                    "reading": {"systolic": 128, "diastolic": 82, "muffling": None},
                    "guided": False,
                    "visible_pulse": False,
                    "needle_spoken": False,
                    "input": "mouse",
                }
            )
        )
    plain, stopped, again, _ = logs
    assert plain.stops(150, 60) == ()
    assert [round(stop.at_mmhg, -1) for stop in stopped.stops(150, 60)] == [110]
    assert plain.pumped_again_at_mmhg is None
    assert again.pumped_again_at_mmhg == pytest.approx(120, abs=4)


def test_log_and_truth_agree_on_where_the_release_begins() -> None:
    """The check of logs and the truth name the same moment."""
    time, line, _ = held_release(STANDARD_CUFF, 150, 2.5, rng())
    truth = truth_of(beat_table(Person(), ArmEffects(), rng()), time, line)
    top = np.flatnonzero(line == line.max())[-1]
    assert truth.release_from_s == time[top]


def test_a_release_that_never_ends_is_refused() -> None:
    """A release slower than the longest log allows is refused in one line."""
    with pytest.raises(BadInputError, match="longer than 600 s"):
        held_release(STANDARD_CUFF, 250, 0.25, rng())


@pytest.mark.parametrize(("peak", "rate"), [(10, 2.5), (400, 2.5), (160, 0), (160, 90)])
def test_a_hand_outside_what_hands_do_is_refused(peak: float, rate: float) -> None:
    """Peaks outside 20 to 300 and rates outside 0.2 to 30 are refused."""
    with pytest.raises(BadInputError, match="must be"):
        held_release(STANDARD_CUFF, peak, rate, rng())


def test_the_needle_bounces_above_the_line_and_lags_a_little() -> None:
    """In the range the needle swings by 1 to 3 mmHg at each beat and stands close over the line otherwise."""
    table = beat_table(Person(systolic_mmhg=120, diastolic_mmhg=80, swings=Swings.off()), ArmEffects(), rng())
    time, line, _ = held_release(STANDARD_CUFF, 150, 2.5, rng())
    needle = needle_mmhg(table, time, line)
    over = needle - line
    within = (time > time[line.argmax()] + 2) & (line < 110) & (line > 85)
    assert 1.0 < over[within].max() < 3.0
    assert -0.1 < over[within].min() < 0.6
    above = (time > time[line.argmax()] + 2) & (line > 125)
    assert 0.2 < over[above].max() < over[within].max() / 2 + 0.3


def test_the_arm_table_is_the_contract() -> None:
    """Keys, lengths and rounding are those of docs/bench-format.md; it is JSON and holds no person."""
    person = Person(gap_mmhg=(100, 115), loudness_db=40)
    table = beat_table(person, ArmEffects(), rng())
    sent = arm_table(table, phase_sounds(person, rng()), "m1")
    again = json.loads(json.dumps(sent, allow_nan=False))
    assert again == sent
    assert set(sent) == {
        "measurement", "table_s", "beats", "profile", "gain", "phase_edges", "gap_place", "to_zero", "upstroke_s",
        "delay_s", "floor_db", "noise_db", "loudness_db", "sounds", "cuff", "needle",
    }  # fmt: skip
    lengths = {len(column) for column in sent["beats"].values()}
    assert lengths == {len(table.foot_s)}
    assert all(round(foot, 4) == foot for foot in sent["beats"]["foot_s"])
    assert all(round(mmhg, 2) == mmhg for mmhg in sent["beats"]["systolic_mmhg"])
    assert sent["gap_place"] == pytest.approx([(100 - 82) / 46, (115 - 82) / 46], abs=1e-4)
    assert set(sent["sounds"]["phases"]) == {"I", "II", "III", "IV"}
    assert len(sent["sounds"]["phases"]["II"]) > 1


def test_sounds_travel_as_16_bit_samples_of_one_energy() -> None:
    """Each phase arrives with the same energy, so that a beat's gain alone sets its loudness; none clips."""
    person = Person()
    sent = arm_table(beat_table(person, ArmEffects(), rng()), phase_sounds(person, rng()), "m1")
    energies = []
    for takes in sent["sounds"]["phases"].values():
        for take in takes:
            pcm = np.frombuffer(base64.b64decode(take), dtype="<i2").astype(float)
            assert np.abs(pcm).max() <= 16384
            energies.append(np.sum(pcm**2))
    assert max(energies) / min(energies) == pytest.approx(1, abs=0.01)
