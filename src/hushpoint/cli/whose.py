"""`hushpoint whose`: whose error it is, over all readings of a file at once."""

from __future__ import annotations

import json
from pathlib import Path

from hushpoint.agreement import EndErrors, whose
from hushpoint.agreement.differences import shown
from hushpoint.cli.agree import readings_in
from hushpoint.cli.tables import result_console, result_table
from hushpoint.desk.whose import CAUTION, NO_GAUGE, as_json, sentences
from hushpoint.errors import BadInputError
from hushpoint.measure import decimal_words


def whose_file(readings: Path, *, reference: str | None, as_json_text: bool, skip_bad_rows: bool = False) -> None:
    """Print each observer's bias and spread and each gauge's bias. Raises BadInputError."""
    rows = readings_in(readings, skip_bad_rows=skip_bad_rows, timed=True)
    try:
        found = whose(rows, reference)
    except BadInputError as refusal:
        raise BadInputError(f"{shown(readings.name, 80).strip(chr(34))}: {refusal}") from None
    if as_json_text:
        print(json.dumps(as_json(found)))  # noqa: T201
        return
    for end in found.ends():
        _print_end(end)
    result_console().print(CAUTION, markup=False)


def _print_end(found: EndErrors) -> None:
    from rich.markup import escape

    console = result_console()
    zero = f"zero: {found.reference}" if found.reference else "zero: the mean of those compared"
    console.print(
        f"{found.end}: {found.readings} readings of {found.measurements} measurements, "
        f"{found.shared_measurements} of them read by two or more",
        markup=False,
    )
    table = result_table(
        "observer", "met", "n", "bias", "95 %", "spread", "95 %",
        title=f"Each observer's own error, {found.end} ({escape(zero)}; mmHg)",
    )  # fmt: skip
    for one in found.observers:
        met = "" if one.steps in (None, 0, 1) else f"through {one.steps - 1}"
        table.add_row(
            escape(one.observer[:20]), met, str(one.shared),
            _signed(one.bias_mmhg), _span(one.bias_ci_mmhg),
            "–" if one.spread_mmhg is None else f"{one.spread_mmhg:.1f}", _span(one.spread_ci_mmhg),
        )  # fmt: skip
    console.print(table)
    if found.gauges:
        gauges = result_table(
            "gauge", "", "n", "bias", "95 %", title="Each gauge against the mean of the others (mmHg)"
        )
        for gauge in found.gauges:
            gauges.add_row(
                escape(gauge.gauge or NO_GAUGE), "", str(gauge.n), _signed(gauge.bias_mmhg), _span(gauge.bias_ci_mmhg)
            )
        console.print(gauges)
    if found.watch.gauges:
        odds = result_table("gauge", "since", "n", "off by", "95 %", "chance", title="Is a gauge off?")
        for weighed in found.watch.gauges:
            odds.add_row(
                escape(weighed.gauge or NO_GAUGE), weighed.since if weighed.named else "", str(weighed.n),
                _signed(weighed.off_mmhg),
                _span(weighed.off_ci_mmhg), f"{100 * weighed.chance_off:.0f} %",
            )  # fmt: skip
        console.print(odds)
    console.print(
        f"One spread for all: {found.error_sd_mmhg:.1f}; of the pressures measured: {found.measurement_sd_mmhg:.1f}.",
        markup=False,
    )
    for line in sentences(found):
        console.print(f"Note: {line}.", markup=False)


def _signed(value: float | None) -> str:
    return "–" if value is None else decimal_words(value, sign=True)


def _span(ends: tuple[float, float] | None) -> str:
    return "–" if ends is None else f"{decimal_words(ends[0])} to {decimal_words(ends[1])}"
