"""Tables as spreadsheets save them in languages with a decimal comma."""

from __future__ import annotations

import pytest

from hushpoint.desk.readings_csv import CsvFileError, parse_readings

ROWS = (("Measurement", "Observer", "Systolic", "Diastolic"), ("1", "A", "120,5", "80"), ("1", "B", "118", "82"))


@pytest.mark.parametrize("mark", [";", "\t"])
def test_semicolons_and_tabs_part_cells_and_a_comma_is_a_decimal_mark(mark: str) -> None:
    """The same readings as from commas and points."""
    given = "\ufeff" + "".join(mark.join(row) + "\r\n" for row in ROWS)
    plain = "\n".join(",".join(cell.replace(",", ".") for cell in row) for row in ROWS)
    assert parse_readings(given.encode(), "a.csv") == parse_readings(plain.encode(), "a.csv")
    assert parse_readings(given.encode(), "a.csv")[0].systolic_mmhg == 120.5


def test_a_decimal_comma_between_commas_is_a_field_too_many() -> None:
    """It is never guessed at."""
    given = "measurement,observer,systolic,diastolic\n1,A,120,5,80\n"
    with pytest.raises(CsvFileError, match="5 fields where the header has 4"):
        parse_readings(given.encode(), "a.csv")


def test_a_header_of_other_words_is_told_as_it_stands() -> None:
    """Whatever parts it, the line names what is missing."""
    with pytest.raises(CsvFileError, match="no column measurement, observer, systolic, diastolic"):
        parse_readings(b"who;upper;lower\n1;2;3\n", "a.csv")
