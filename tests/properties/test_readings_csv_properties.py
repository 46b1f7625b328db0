"""Whatever bytes come, the reader gives readings in range or one printable line."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from hushpoint.desk.csv_file import CsvFileError
from hushpoint.desk.readings_csv import parse_readings

HEADER = b"measurement,observer,systolic,diastolic\n"


def readable(data: bytes) -> None:
    """Parse, and check what came back or what was said."""
    try:
        rows = parse_readings(data, "r.csv")
    except CsvFileError as refusal:
        rows, told = (), str(refusal)
    else:
        told = ""
        assert rows
    assert told.isprintable()
    assert len(told) < 300
    for row in rows:
        assert 0 < row.systolic_mmhg <= 300
        assert row.diastolic_mmhg is None or 0 <= row.diastolic_mmhg <= row.systolic_mmhg


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=300))
@example(b"\xef\xbb\xbf" + HEADER + b"1,J,120,80\n")
def test_any_bytes_as_a_file(data: bytes) -> None:
    """Any bytes at all."""
    readable(data)


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200))
@example(b"1,J,120,\n")
def test_any_bytes_under_a_good_header(data: bytes) -> None:
    """Any bytes under the right header."""
    readable(HEADER + data)


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=30), st.sampled_from(range(4)))
def test_any_text_in_one_cell(cell: str, place: int) -> None:
    """Any text, properly quoted, in one cell of a good row."""
    cells = ["1", "J", "120", "80"]
    cells[place] = cell
    written = io.StringIO()
    csv.writer(written).writerow(cells)
    readable(HEADER + written.getvalue().encode("utf-8", "surrogatepass"))


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 300), st.none() | st.integers(0, 300), st.booleans())
def test_good_rows_come_back_as_written(systolic: int, diastolic: int | None, returns: bool) -> None:
    """A row in range is read as it stands, with either line ending; a diastolic above the systolic is refused."""
    end = "\r\n" if returns else "\n"
    lower = "" if diastolic is None else diastolic
    data = end.join(["measurement,observer,systolic,diastolic", f" m 1 ,J,{systolic},{lower}", ""]).encode()
    if diastolic is not None and diastolic > systolic:
        with pytest.raises(CsvFileError, match="row 2, column diastolic"):
            parse_readings(data, "r.csv")
        return
    (row,) = parse_readings(data, "r.csv")
    assert (row.measurement, row.observer, row.systolic_mmhg, row.diastolic_mmhg) == ("m 1", "J", systolic, diastolic)
