"""The picture of a learning curve."""

from __future__ import annotations

from xml.etree import ElementTree

from hushpoint.competence.curve import curve_limit, learning_curve
from hushpoint.desk.judging import CURVE
from hushpoint.sheet.curve_picture import curve_picture


def test_a_curve_is_drawn_with_its_limit_the_same_each_time() -> None:
    """Well-formed SVG with a point for every reading and the words at the limit; a wrong reading changes it."""
    limit = curve_limit(*CURVE)
    clean, slip = (learning_curve([True] * 9 + [last] + [True] * 9, limit) for last in (True, False))
    drawn = curve_picture(clean.scores, limit.limit)
    assert ElementTree.fromstring(drawn).tag.endswith("svg")  # noqa: S314 - our own
    assert b"shown from here on" in drawn
    assert drawn == curve_picture(clean.scores, limit.limit)
    assert drawn != curve_picture(slip.scores, limit.limit)
    assert drawn != curve_picture(clean.scores, limit.limit, dark=True)
