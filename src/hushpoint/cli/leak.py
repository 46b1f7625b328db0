"""`hushpoint leak TIMES.csv`: leak, rapid exhaust or release valve from timed readings of a gauge."""

from __future__ import annotations

import json
from pathlib import Path

from hushpoint.desk.csv_file import told_name
from hushpoint.desk.kit_timed import TESTS, TITLES, TimedResult, timed
from hushpoint.desk.timed_csv import read_timed_file
from hushpoint.errors import BadInputError
from hushpoint.guideline.gauges import Limit, gauge_rule, gauge_tests
from hushpoint.instrument import Exhaust, InstrumentError

CAUTION = "A check for teaching and local upkeep; local policy and a calibration service come first."


def timed_file(times_csv: Path, *, test: str, rule: str, as_json: bool) -> None:
    """Print the figure with its interval and the verdict. Raises BadInputError."""
    if test not in TESTS:
        cut = test[:20].encode("unicode_escape").decode()
        raise BadInputError(f'--test "{cut}": must be one of {", ".join(TESTS)}')
    asked = gauge_rule(rule)
    readings = read_timed_file(times_csv)
    try:
        result = timed(test, readings, asked)
    except InstrumentError as refusal:
        raise BadInputError(f"{told_name(times_csv.name)}: {refusal}") from None
    if as_json:
        print(json.dumps(_as_json(result, len(readings))))  # noqa: T201
    else:
        _print(result)


def _as_json(result: TimedResult, count: int) -> dict[str, object]:
    found = result.found
    told: dict[str, object] = {"test": result.what, "verdict": result.verdict, "reason": result.reason}
    if isinstance(found, Exhaust):
        told |= {"value": round(found.seconds, 6), "interval": None, "unit": "s"}
    else:
        interval = [round(found.low, 6) + 0.0, round(found.high, 6) + 0.0]
        told |= {"value": round(found.rate, 6) + 0.0, "interval": interval, "unit": found.unit}
    limits = [
        {"limit": limit.value, "unit": limit.unit, "source": limit.source, "mark": limit.provenance}
        for limit in _limits(result)
    ]
    rule = result.rule.id if result.what == "leak" else None
    return told | {"rule": rule, "readings": count, "limits": limits, "caution": CAUTION}


def _limits(result: TimedResult) -> list[Limit]:
    asked = gauge_tests()
    if result.what == "leak":
        return [result.rule.leak]
    return [asked.exhaust] if result.what == "exhaust" else [asked.valve_slowest, asked.valve_fastest]


def _print(result: TimedResult) -> None:
    from hushpoint.cli.tables import result_console

    out = result_console()
    by = f" by the rule “{result.rule.id}” ({result.rule.name})" if result.what == "leak" else ""
    out.print(f"{TITLES[result.what].capitalize()}: {result.verdict.upper()}{by}.", markup=False)
    out.print(f"{result.value}: {result.reason}.", markup=False)
    for limit in _limits(result):
        out.print(f"Limit: {limit.words()}.", markup=False)
    out.print(CAUTION, markup=False)
