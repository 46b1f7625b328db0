"""A cell of a CSV that we write is never a formula."""

from __future__ import annotations

import pytest

from hushpoint.desk.csv_file import plain_cell


@pytest.mark.parametrize("text", ["=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1)", "\t=1", "\r=1", "=", "-"])
def test_what_begins_a_formula_is_quoted(text: str) -> None:
    """The signs of the OWASP page on CSV injection (from memory)."""
    assert plain_cell(text) == f"'{text}"


@pytest.mark.parametrize("text", ["", "120", "-4", "+6", "-4.5", "K17", "a=1", "it is 4 - 2", "−4"])
def test_numbers_and_words_stay_as_they_are(text: str) -> None:
    """A negative number is no formula."""
    assert plain_cell(text) == text
