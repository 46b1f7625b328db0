"""The picture of a release holds every mark with words, is the same each time, and its table tells the same."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from bench_logs import bench_log
from hushpoint.arm import Person, beat_table
from hushpoint.guideline import teaching_policy
from hushpoint.practice.cases import Case
from hushpoint.practice.judge import judge
from hushpoint.practice.log import check_log
from hushpoint.practice.setup import effects_of, right_choices
from hushpoint.sheet.release_picture import DARK, LIGHT, release_picture, release_table


def judgement(reading: tuple[int | None, int | None] = (124, 78), *, gap: bool = False, **poor: str) -> dict[str, Any]:
    """Return a judgement as the page gets it, on an arm of 190/90 with a gap or of 128/82."""
    person = Person(systolic_mmhg=190, diastolic_mmhg=90, gap_mmhg=(140, 170)) if gap else Person()
    case = Case(1, "normal", person, "He says nothing.", False, False, 8.0)
    effects, named = effects_of(case, {**right_choices(case), **poor}, np.random.default_rng(1))
    return judge(
        case,
        beat_table(person, effects, np.random.default_rng(2)),
        named_effects=named,
        log=check_log(bench_log(reading, peak_mmhg=215 if gap else 160, open_at_mmhg=65)),
        policy=teaching_policy("PALPATED_30"),
        earlier_readings=[],
    ).to_json("m")


def words(svg: bytes) -> str:
    """Return all text of an SVG."""
    return " | ".join(text for text in ET.fromstring(svg).itertext() if text.strip())  # noqa: S314


def test_every_mark_carries_words() -> None:
    """Truth and learner are named with their numbers, the gap and the asked rate too."""
    sent = judgement((136, 90), gap=True)
    told = words(release_picture(sent))
    for end in ("systolic", "diastolic"):
        assert f"truth {sent['truth'][end]['mmhg']:.0f}" in told
    for mark in ("you 136", "you 90", "silent gap", "2 to 3 asked", "cuff pressure, mmHg, falling"):
        assert mark in told


def test_what_was_not_heard_or_withheld_is_said() -> None:
    """Never blank, never 0."""
    told = words(release_picture(judgement((None, None), ears="tapped_silent")))
    assert "no sound could be heard" in told
    assert "you, systolic: not heard" in told
    assert "truth, diastolic: withheld" in told


def test_the_cuff_falls_to_the_right() -> None:
    """Along the pressure axis higher numbers stand further left."""
    root = ET.fromstring(release_picture(judgement()))  # noqa: S314
    places = {}
    for text in root.iter("{http://www.w3.org/2000/svg}text"):
        label = "".join(text.itertext())
        if label in ("140", "120", "100", "80"):
            places[int(label)] = float(text.get("x") or text.get("transform", "").split("(")[1].split()[0].rstrip(","))
    assert len(places) >= 3
    assert sorted(places, key=places.__getitem__) == sorted(places, reverse=True)


@pytest.mark.parametrize("form", ["svg", "png"])
@pytest.mark.parametrize("dark", [True, False])
def test_the_same_judgement_gives_the_same_bytes(form: str, dark: bool) -> None:
    """No dates and no random ids inside; the scheme changes the ground."""
    sent = judgement()
    one = release_picture(sent, form=form, dark=dark)
    assert one == release_picture(sent, form=form, dark=dark)
    assert one.startswith(b"\x89PNG" if form == "png" else b"<?xml")
    if form == "svg":
        assert (DARK.page if dark else LIGHT.page).lower() in one.decode().lower()


def test_the_table_tells_the_same() -> None:
    """Truth, marks, rates, gap and one row a beat, all rows of three cells."""
    sent = judgement((136, None), gap=True)
    rows = release_table(sent)
    assert {len(row) for row in rows} == {3}
    assert ("136", "you, systolic", "written") in rows
    assert ("", "you, diastolic", "not heard") in rows
    assert any(row[1] == "silent gap" for row in rows)
    assert sum(row[1] == "beat" for row in rows) == len(sent["picture"]["beats"])
    assert sum(row[1] == "release" for row in rows) == len(sent["hand"]["segments"])
