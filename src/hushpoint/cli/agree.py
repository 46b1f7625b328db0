"""`hushpoint agree` and `hushpoint digits`: results go to stdout, words about the work to stderr."""

from __future__ import annotations

import json
import math
from collections import Counter
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from hushpoint.agreement import (
    WITHIN_MMHG,
    Agreement,
    Differences,
    InFull,
    ObserverDigits,
    PairedReading,
    agree,
    digits_by_observer,
)
from hushpoint.agreement.differences import shown
from hushpoint.cli.tables import result_console, result_table
from hushpoint.cli.told import note
from hushpoint.cli.whole_file import ANYBODYS, whole_file
from hushpoint.desk.agreeing import agreement_in_full, in_full_lines, json_in_full, p_words
from hushpoint.desk.csv_file import bytes_of
from hushpoint.desk.readings_csv import bad_rows, read_readings_file, sound_readings
from hushpoint.errors import BadInputError
from hushpoint.measure import decimal_words

if TYPE_CHECKING:
    from rich.console import Console

CAUTION = "Agreement of observers, not a judgement of a person's health; local rules decide on sign-off."
MOST_DRAWN = 6
MOST_IN_FULL = 6
MOST_BARS = 15
BAR_CELLS = 40
WIDEST_PAIR = 12
"""Wider names would push numbers off a terminal of 80 columns."""


def readings_in(path: Path, *, skip_bad_rows: bool, timed: bool = False) -> tuple[PairedReading, ...]:
    """The readings of a file; with `skip_bad_rows` bad ones are left out and told. Raises BadInputError."""
    if not skip_bad_rows:
        return read_readings_file(path, timed=timed)
    found = sound_readings(bytes_of(path), path.name, timed=timed)
    if found.left_out:
        count = len(found.left_out)
        note(f"left out {count} bad row{'s' * (count > 1)}: {bad_rows(found.left_out)}")
    return found.heard()


def agree_file(
    readings: Path, *, reference: str | None, as_json: bool, picture: Path | None, skip_bad_rows: bool = False
) -> None:
    """Print how far observers agree, drawing it where asked. Raises BadInputError before anything is written."""
    form = None if picture is None else _picture_form(picture)
    rows = readings_in(readings, skip_bad_rows=skip_bad_rows)
    try:
        agreement = agree(rows, reference)
    except BadInputError as refusal:
        raise BadInputError(f"{shown(readings.name, 80).strip(chr(34))}: {refusal}") from None
    if picture is not None and form is not None:
        _write_picture(agreement, picture, form)
    full = agreement_in_full(agreement, rows)
    if as_json:
        _print_json(json_in_full(agreement, full))
    else:
        _print_agreement(agreement)
        _print_in_full(agreement, full)
        _print_digits(digits_by_observer(rows))
        result_console().print(CAUTION, markup=False)


def digits_file(readings: Path, *, as_json: bool, skip_bad_rows: bool = False) -> None:
    """Print each observer's last digits. Raises BadInputError."""
    rows = readings_in(readings, skip_bad_rows=skip_bad_rows)
    found = digits_by_observer(rows)
    if as_json:
        _print_json({"observers": [one.as_json() for one in found]})
    else:
        _print_digits(found)


def _print_in_full(agreement: Agreement, full: Sequence[dict[str, InFull]]) -> None:
    """What bias and limits alone do not say, a block a pair."""
    console = result_console()
    for pair, ends in list(zip(agreement.pairs, full, strict=True))[:MOST_IN_FULL]:
        for end, found in ends.items():
            console.print(f"{pair.observer} minus {pair.reference}, {end}, in full:", markup=False)
            for line in in_full_lines(found):
                console.print(f"  {line}", markup=False)
    if len(agreement.pairs) > MOST_IN_FULL:
        console.print(f"({MOST_IN_FULL} of {len(agreement.pairs)} pairs in full; --json tells all.)", markup=False)


def _print_digits(found: Sequence[ObserverDigits]) -> None:
    console = result_console()
    table = result_table("observer", "end", "n", *"0123456789", "p zeros", title="Last digits", gap=0)
    words = []
    for one in found:
        for end, counted in (("sys", one.systolic), ("dia", one.diastolic)):
            if counted.n:
                p_zeros = (
                    "" if counted.p_zeros is None else p_words(counted.p_zeros).removeprefix("p ").removeprefix("= ")
                )
                table.add_row(_cell(one.observer, 20), end, str(counted.n), *map(str, counted.counts), p_zeros)
            words += [f"{one.observer}, {end}: {flag}" for flag in counted.flags]
        words += [f"{one.observer}: {flag}" for flag in one.pairs.flags]
    console.print(table)
    for line in words:
        console.print(line, markup=False)
    console.print("A habit of the pen, told from counts; one sheet alone says little.", markup=False)


def _picture_form(picture: Path) -> Literal["png", "svg"]:
    form = picture.suffix.lower().removeprefix(".")
    if form not in ("png", "svg"):
        raise BadInputError(f"--picture {shown(picture.name)}: the name must end in .png or .svg")
    if picture.is_dir() or not picture.absolute().parent.is_dir():
        raise BadInputError(f"--picture {shown(picture.name)}: a file name in a folder that exists is needed")
    return "svg" if form == "svg" else "png"


def _write_picture(agreement: Agreement, picture: Path, form: Literal["png", "svg"]) -> None:
    from hushpoint.sheet.agreement_picture import agreement_picture

    page = agreement_picture(agreement, form)
    try:
        whole_file(picture, page, ANYBODYS)
    except BadInputError as refusal:
        raise BadInputError(f"--picture {refusal}") from None
    note(f"picture written: {picture.name}")


def _print_json(found: object) -> None:
    print(json.dumps(found))  # noqa: T201


def _cell(name: str, cells: int) -> str:
    """A name cut to fit, square brackets kept as they are rather than read as markup."""
    from rich.markup import escape

    return escape(name if len(name) <= cells else name[: cells - 1] + "…")


def _signed(value: float | None, places: int = 2) -> str:
    return "–" if value is None else decimal_words(value, places)


def _span(ends: tuple[float, float] | None, places: int = 2) -> str:
    return "–" if ends is None else f"{_signed(ends[0], places)} to {_signed(ends[1], places)}"


def _pair_names(console: Console, agreement: Agreement) -> list[str]:
    """What stands for each pair in the tables: its names, or where one is long, numbers told in a list above."""
    from rich.cells import cell_len
    from rich.markup import escape

    names = [f"{pair.observer} − {pair.reference}" for pair in agreement.pairs]
    if all(cell_len(name) <= WIDEST_PAIR for name in names):
        return [escape(name) for name in names]
    for number, pair in enumerate(agreement.pairs, start=1):
        console.print(f"pair {number}: {pair.observer} minus {pair.reference}", markup=False)
    return [f"{number}" for number in range(1, len(names) + 1)]


def _print_agreement(agreement: Agreement) -> None:
    console = result_console()
    main = result_table("pair", "end", "n", "bias", "SD", "limits", "largest", title="Observer minus reference (mmHg)")
    spans = result_table("pair", "end", "bias", "lower limit", "upper limit", title="Their 95 % intervals (mmHg)")
    shares = result_table(
        "pair", "end", "same", *(f"≤{limit}" for limit in WITHIN_MMHG), title="Share of pairs within (%)"
    )
    for name, pair in zip(_pair_names(console, agreement), agreement.pairs, strict=True):
        for end, found in pair.ends():
            lead = (name, end[:3])
            main.add_row(
                *lead,
                str(found.n),
                _signed(found.bias_mmhg),
                _signed(found.sd_mmhg),
                _span(found.limits_mmhg),
                f"{found.largest_mmhg:g}",
            )
            low, high = found.limits_ci_mmhg or (None, None)
            spans.add_row(*lead, *(_span(interval, places=1) for interval in (found.bias_ci_mmhg, low, high)))
            shares.add_row(*lead, f"{found.identical_percent:.1f}", *(f"{share:.1f}" for share in found.within_percent))
    for table in (main, spans, shares):
        console.print(table)
    drawable = [(pair, end, found) for pair in agreement.pairs for end, found in pair.ends()]
    for pair, end, found in drawable[:MOST_DRAWN]:
        console.print(f"{pair.observer} minus {pair.reference}, {end}: differences (mmHg)", markup=False)
        for line in bars(found):
            console.print(line, markup=False, no_wrap=True, overflow="crop")
        console.print()
    if len(drawable) > MOST_DRAWN:
        console.print(f"({MOST_DRAWN} of {len(drawable)} drawn; --picture draws more.)", markup=False)
    for remark in agreement.notes:
        console.print(f"Note: {remark}.", markup=False)


def bars(found: Differences) -> Sequence[str]:
    """One line a step of differences: its values, a bar, the count, and where bias and limits lie."""
    low, high = min(found.differences_mmhg), max(found.differences_mmhg)
    marks = [(found.bias_mmhg, "bias")]
    if found.limits_mmhg:
        marks += [(found.limits_mmhg[0], "lower limit"), (found.limits_mmhg[1], "upper limit")]
    low, high = min(low, *(value for value, _ in marks)), max(high, *(value for value, _ in marks))
    step = next(width for width in (1, 2, 5, 10, 20, 50, 100, 200) if (high - low) / width < MOST_BARS - 1)

    def place(value: float) -> int:
        return math.floor(value / step)

    heights = Counter(place(value) for value in found.differences_mmhg)
    tallest = max(heights.values())
    lines = []
    for bar in range(place(low), place(high) + 1):
        cells = math.ceil(BAR_CELLS * heights[bar] / tallest)
        names = ", ".join(f"{name} {_signed(value)}" for value, name in marks if place(value) == bar)
        count = str(heights[bar] or "")
        label = f"{bar * step}" if step == 1 else f"{bar * step} to {bar * step + step - 1}"
        text = f"{label.replace('-', '−'):>12}  {'█' * cells} {count}"
        lines.append(f"{text}  ← {names}" if names else text.rstrip())
    return lines
