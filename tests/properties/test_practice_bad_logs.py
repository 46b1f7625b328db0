"""A log that no cuff could have made is refused in one clear line, whatever is wrong with it."""

from __future__ import annotations

import copy
import json
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bench_logs import bench_log
from hushpoint.errors import BadInputError
from hushpoint.practice.log import check_log

Break = Callable[[dict[str, Any]], Any]


@cache
def good_text() -> str:
    """Return one good log as text."""
    pulse = {"from_s": 2.0, "seconds": 30, "count": 36, "regular": True}
    return json.dumps(bench_log(palpated_mmhg=130, pulse=pulse))


def good() -> dict[str, Any]:
    """Return a fresh copy of the good log."""
    return json.loads(good_text())


def put(*path: str | int, value: Any) -> Break:
    """Return a way to break a log: this value at this place."""

    def change(log: dict[str, Any]) -> dict[str, Any]:
        place: Any = log
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = value
        return log

    return change


def drop(*path: str | int) -> Break:
    """Return a way to break a log: this key taken out."""

    def change(log: dict[str, Any]) -> dict[str, Any]:
        place: Any = log
        for key in path[:-1]:
            place = place[key]
        del place[path[-1]]
        return log

    return change


def shifted(log: dict[str, Any]) -> dict[str, Any]:
    """Swap two neighbouring times."""
    log["time_s"][100], log["time_s"][101] = log["time_s"][101], log["time_s"][100]
    return log


def unsqueezed(log: dict[str, Any]) -> dict[str, Any]:
    """Take out every squeeze."""
    log["events"] = [event for event in log["events"] if event["do"] != "squeeze"]
    return log


def crept(log: dict[str, Any]) -> dict[str, Any]:
    """Let the falling cuff creep up slowly, far from any squeeze."""
    half = int(len(log["time_s"]) * 0.8)
    pressure = log["pressure_mmhg"]
    log["pressure_mmhg"] = pressure[:half] + [pressure[half] + 0.02 * step for step in range(len(pressure) - half)]
    return log


def unreleased(log: dict[str, Any]) -> dict[str, Any]:
    """End the log at the top."""
    top = len(log["pressure_mmhg"]) - int(np.argmax(log["pressure_mmhg"][::-1]))
    return {**log, "time_s": log["time_s"][:top], "pressure_mmhg": log["pressure_mmhg"][:top]}


def low(log: dict[str, Any]) -> dict[str, Any]:
    """Never pump above 40."""
    return {**log, "pressure_mmhg": [mmhg / 5 for mmhg in log["pressure_mmhg"]]}


def long_(log: dict[str, Any]) -> dict[str, Any]:
    """Go on past ten minutes."""
    return {**log, "time_s": [*log["time_s"], 600.1], "pressure_mmhg": [*log["pressure_mmhg"], 0.0]}


def many(log: dict[str, Any]) -> dict[str, Any]:
    """Send more samples than ten minutes hold."""
    return {**log, "time_s": [step / 60 for step in range(30_001)], "pressure_mmhg": [0.0] * 30_001}


def empty(log: dict[str, Any]) -> dict[str, Any]:
    """Send no samples."""
    return {**log, "time_s": [], "pressure_mmhg": []}


NAN, INFINITE, HUGE = float("nan"), float("inf"), 10**400
KEYS = (
    "time_s", "pressure_mmhg", "events", "pulse", "palpated_mmhg", "reading", "guided", "visible_pulse",
    "needle_spoken", "input",
)  # fmt: skip

BREAKS: dict[str, Break] = {
    **{f"no {key}": drop(key) for key in KEYS},
    **{f"no pulse {key}": drop("pulse", key) for key in ("from_s", "seconds", "count", "regular")},
    **{f"no reading {key}": drop("reading", key) for key in ("systolic", "diastolic")},
    "no event time": drop("events", 0, "at_s"),
    "no event act": drop("events", 0, "do"),
    **{f"{key} is null": put(key, value=None) for key in KEYS if key not in ("pulse", "palpated_mmhg")},
    **{f"{key} is a text": put(key, value="12") for key in KEYS if key != "input"},
    **{f"{key} is an object": put(key, value={}) for key in KEYS},
    **{f"{key} is a number": put(key, value=7) for key in KEYS if key != "palpated_mmhg"},
    **{f"{key} is a flag": put(key, value=True) for key in ("time_s", "events", "pulse", "palpated_mmhg", "input")},
    **{f"time {name}": put("time_s", 50, value=bad) for name, bad in
       {"NaN": NAN, "infinite": INFINITE, "huge": HUGE, "negative": -1, "text": "1.2", "null": None, "flag": True,
        "list": [1], "far": 601}.items()},
    **{f"pressure {name}": put("pressure_mmhg", 50, value=bad) for name, bad in
       {"NaN": NAN, "infinite": INFINITE, "huge": HUGE, "negative": -0.01, "above": 300.01, "text": "120",
        "null": None, "flag": False, "object": {}}.items()},
    **{f"systolic {name}": put("reading", "systolic", value=bad) for name, bad in
       {"NaN": NAN, "huge": HUGE, "negative": -2, "above": 301, "half": 124.5, "text": "124", "flag": True,
        "list": [124]}.items()},
    "muffling above": put("reading", "muffling", value=420),
    "palpated above": put("palpated_mmhg", value=300.5),
    "waited below 0": put("waited_s", value=-1),
    "waited as text": put("waited_s", value="60"),
    "pulse window": put("pulse", "seconds", value=20),
    "pulse window text": put("pulse", "seconds", value="30"),
    "pulse count half": put("pulse", "count", value=36.5),
    "pulse count huge": put("pulse", "count", value=HUGE),
    "pulse count negative": put("pulse", "count", value=-1),
    "pulse regular unsaid": put("pulse", "regular", value=None),
    "event unknown": put("events", 0, "do", value="shout"),
    "event is a text": put("events", 0, value="squeeze"),
    "event before the clock": put("events", 0, "at_s", value=-1),
    "event NaN": put("events", 0, "at_s", value=NAN),
    "valve beyond open": lambda log: {**log, "events": [*log["events"], {"at_s": 1, "do": "valve", "to": 1.5}]},
    "valve without place": lambda log: {**log, "events": [*log["events"], {"at_s": 1, "do": "valve"}]},
    "input unknown": put("input", value="telepathy"),
    "lists of unequal length": lambda log: {**log, "pressure_mmhg": log["pressure_mmhg"][:-1]},
    "time back": shifted,
    "time stands": lambda log: put("time_s", 101, value=log["time_s"][100])(log),
    "no squeeze": unsqueezed,
    "creeping up": crept,
    "starts pumped up": put("pressure_mmhg", 0, value=90),
    "no release": unreleased,
    "no inflation": low,
    "too long": long_,
    "too many": many,
    "empty": empty,
    "a list": lambda log: [log],
    "a text": lambda _: "log",
    "null": lambda _: None,
    "a number": lambda _: 3,
}  # fmt: skip


def test_there_are_at_least_sixty_kinds() -> None:
    """The list below stays long."""
    assert len(BREAKS) >= 60


@pytest.mark.parametrize("kind", list(BREAKS))
def test_each_kind_of_bad_log_is_refused(kind: str) -> None:
    """One line, no traceback, and it says that nothing was kept."""
    with pytest.raises(BadInputError) as refused:
        check_log(BREAKS[kind](good()))
    told = str(refused.value)
    assert "\n" not in told
    assert len(told) < 200
    assert told.endswith(("Nothing saved.", "not filed."))


def test_the_good_log_passes_and_comes_back_the_same() -> None:
    """What is stored is what was sent, and checks again."""
    log = check_log(good())
    assert log.to_json() == good()
    assert check_log(log.to_json()).to_json() == log.to_json()


def test_unknown_keys_are_left_out_of_what_is_stored() -> None:
    """A page's extra keys are let pass and dropped."""
    assert "name" not in check_log({**good(), "name": "somebody"}).to_json()


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8), inner, max_size=4),
    max_leaves=12,
)


@settings(max_examples=300, deadline=None)
@given(junk=JUNK)
def test_any_junk_is_refused(junk: object) -> None:
    """No nested junk passes or raises anything but the one refusal."""
    with pytest.raises(BadInputError):
        check_log(junk)


@settings(max_examples=200, deadline=None)
@given(key=st.sampled_from(KEYS), junk=JUNK, inner=st.booleans())
def test_junk_in_any_place_is_refused_or_harmless(key: str, junk: object, inner: bool) -> None:
    """Junk under any key either leaves a storable log or is refused in one line."""
    log = copy.deepcopy(good())
    if inner and isinstance(log[key], dict):
        log[key][next(iter(log[key]))] = junk
    elif inner and isinstance(log[key], list):
        log[key][3] = junk
    else:
        log[key] = junk
    try:
        stored = check_log(log).to_json()
    except BadInputError as refused:
        told = str(refused)
    else:
        told = json.dumps(stored, allow_nan=False)
    assert "\n" not in told


@settings(max_examples=40, deadline=None)
@given(
    peak=st.integers(60, 280),
    rate=st.floats(1.5, 12),
    systolic=st.none() | st.integers(0, 300),
    diastolic=st.none() | st.integers(0, 300),
)
def test_every_log_of_a_real_hand_passes(peak: int, rate: float, systolic: int | None, diastolic: int | None) -> None:
    """Whatever the hand does and writes, a log of the real cuff is filed."""
    log = check_log(bench_log((systolic, diastolic), peak_mmhg=peak, rate_mmhg_per_s=rate))
    assert peak <= log.peak_mmhg < peak + 15
    assert log.to_json()["reading"]["systolic"] == systolic
