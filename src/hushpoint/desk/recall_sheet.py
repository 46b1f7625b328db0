"""The list of a recall as JSON, CSV and words: one text for the page, the command and the sheet."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from hushpoint.desk.csv_file import plain_cell
from hushpoint.desk.printed import printed
from hushpoint.desk.recall import WAYS, ClientChange, Decision, End, Line, Meaning, Recall, Touched
from hushpoint.errors import BadInputError
from hushpoint.guideline.clinical_policies import clinical_policy
from hushpoint.instrument import Corrected, Moved, drift_by_hand
from hushpoint.measure import Withheld, Worked, whole_mmhg
from hushpoint.words import ENGLISH, Reader, reader


def as_json(found: Recall) -> dict[str, Any]:
    """Return the list as `hushpoint recall --json` prints it; docs/recall.md names every field."""
    window = found.window
    return {
        "gauge": window.gauge.label,
        "good_check": None if window.good is None else _time(window.good.at),
        "failed_check": _time(window.bad.at),
        "reasons": list(window.bad.reasons),
        "until": None if window.until is None else _time(window.until),
        "moved": found.moved.reason if isinstance(found.moved, Withheld) else _moved(found.moved),
        "counts": found.counted(),
        "lines": [_line_json(line) for line in found.lines],
        "cautions": list(found.cautions()),
    }


def _time(at: datetime) -> str:
    return at.astimezone(UTC).isoformat().replace("+00:00", "Z")


def _moved(moved: Moved) -> dict[str, Any]:
    return {
        "at_mmhg": 120,
        "step_mmhg": _one(moved.step_mmhg),
        "interval": [_one(moved.low_mmhg), _one(moved.high_mmhg)],
        "mmhg_per_day": round(moved.slope_mmhg_per_day, 3) + 0.0,
        "days": round(moved.days, 2),
    }


def _one(value_mmhg: float) -> float:
    return round(value_mmhg, 1) + 0.0


def _line_json(line: Line) -> dict[str, Any]:
    change = line.change
    return {
        "line": line.key,
        "sort": line.sort,
        "code": line.code,
        "suggested": line.suggested,
        "why": line.why,
        "urgency": line.urgency,
        "policy": None if change is None else change.policy,
        "changes": None if change is None else change.changes,
        "by_way": {} if change is None else dict(change.by_way),
        "written": _meaning_json(change.written if change else None),
        "slope": _meaning_json(change.slope if change else None),
        "whole": _meaning_json(change.whole if change else None),
        "interval": None if change is None or change.between is None else [_meaning_json(e) for e in change.between],
        "gravest": _meaning_json(change.gravest if change else None),
        "readings": [_touched_json(each) for each in line.touched],
        "other_gauges": [each.gauge for each in line.others],
        "decided": None if line.decided is None else _decision_json(line.decided),
        "decisions": [_decision_json(each) for each in line.decisions],
    }


def _decision_json(decision: Decision) -> dict[str, str]:
    return {"decision": decision.decision, "by": decision.by, "at": decision.at, "why": decision.why}


def _meaning_json(meaning: Meaning | None) -> dict[str, Any] | None:
    if meaning is None:
        return None
    return {
        "systolic": _one(meaning.systolic_mmhg),
        "diastolic": _one(meaning.diastolic_mmhg),
        "category": meaning.category,
        "action": meaning.verdict,
        "when": meaning.when,
        "step": meaning.step.step,
        "within_days": meaning.step.within_days,
    }


def _touched_json(touched: Touched) -> dict[str, Any]:
    reading = touched.reading
    return {
        "row": reading.seq,
        "taken_at": reading.taken_at,
        "observer": reading.observer[:8],
        "arm": reading.arm,
        "systolic": _end_json(touched.systolic),
        "diastolic": _end_json(touched.diastolic),
        "amended": reading.amended,
    }


def _end_json(end: End | None) -> dict[str, Any] | None:
    if end is None:
        return None
    return {
        "written": end.written_mmhg,
        "none": _way_json(end.found.before_step),
        "slope": _way_json(end.found.slope),
        "whole": _way_json(end.found.after_step),
        "reach": None if isinstance(end.reach, Withheld) else [_one(end.reach.low_mmhg), _one(end.reach.high_mmhg)],
    }


def _way_json(way: Corrected | Withheld) -> dict[str, Any]:
    if isinstance(way, Withheld):
        return {"withheld": way.reason}
    return {"mmhg": _one(way.mmhg), "interval": [_one(way.low_mmhg), _one(way.high_mmhg)]}


CSV_COLUMNS = (
    "line", "sort", "code", "row", "taken_at", "systolic", "diastolic", "systolic_slope", "diastolic_slope",
    "systolic_whole", "diastolic_whole", "systolic_low", "systolic_high", "diastolic_low", "diastolic_high",
    "suggested", "urgency", "policy", "changes", "category_written", "category_whole", "action_written",
    "action_whole", "decision", "by", "at", "why",
)  # fmt: skip


def csv_rows(found: Recall) -> Iterator[list[str]]:
    """Yield the list as rows of text, one for each reading, header first; low and high are the reach."""
    yield list(CSV_COLUMNS)
    for line in found.lines:
        change, decided = line.change, line.decided
        told = [
            line.suggested,
            line.urgency,
            change.policy if change else "",
            change.changes if change else "",
            change.written.category if change and change.written else "",
            change.whole.category if change and change.whole else "",
            _act(change.written) if change else "",
            _act(change.whole) if change else "",
            *((decided.decision, decided.by, decided.at, decided.why) if decided else ("", "", "", "")),
        ]
        for each in line.touched:
            reading, ends = each.reading, (each.systolic, each.diastolic)
            yield [
                plain_cell(text)
                for text in (
                    line.key, line.sort, line.code, str(reading.seq), reading.taken_at,
                    *("" if end is None else str(end.written_mmhg) for end in ends),
                    *(_cell(end, "slope") for end in ends),
                    *(_cell(end, "whole") for end in ends),
                    *(cell for end in ends for cell in _reach_cells(end)),
                    *told,
                )
            ]  # fmt: skip


def _cell(end: End | None, way: str) -> str:
    found = None if end is None else WAYS[way](end.found)
    return f"{_one(found.mmhg):.1f}" if isinstance(found, Corrected) else ""


def _reach_cells(end: End | None) -> tuple[str, str]:
    if end is None or isinstance(end.reach, Withheld):
        return "", ""
    return f"{_one(end.reach.low_mmhg):.1f}", f"{_one(end.reach.high_mmhg):.1f}"


def _act(meaning: Meaning | None, say: Callable[[str], str] = str) -> str:
    return "" if meaning is None else f"{say(meaning.verdict)}, {say(meaning.when)}"


def value_words(meaning: Meaning | None) -> str:
    """Return a value as shown, such as 142/90."""
    return "" if meaning is None else f"{whole_mmhg(meaning.systolic_mmhg)}/{whole_mmhg(meaning.diastolic_mmhg)}"


def category_words(change: ClientChange, say: Callable[[str], str] = str) -> str:
    """Return the category as written and, where it differs, corrected."""
    names = [say(each.category) for each in (change.written, change.whole or change.gravest) if each is not None]
    return " → ".join(dict.fromkeys(names))


def action_words(change: ClientChange, say: Callable[[str], str] = str) -> str:
    """Return what the policy asks for as written and, where it differs, corrected."""
    acts = [_act(each, say) for each in (change.written, change.whole or change.gravest) if each is not None]
    return " → ".join(dict.fromkeys(acts))


def day(at: datetime) -> str:
    """Return a day as lines tell it (UTC)."""
    return f"{at.astimezone(UTC):%Y-%m-%d}"


def moved_words(moved: Moved | Withheld) -> str:
    """Return how far the gauge moved between its checks, in a sentence."""
    if isinstance(moved, Withheld):
        return f"How far it moved is not told: {moved.reason}."
    by, low, high = (
        f"{_one(value):+.1f}".replace("-", "−") for value in (moved.step_mmhg, moved.low_mmhg, moved.high_mmhg)
    )
    doubt = "" if moved.told else "; that may be none at all"
    return (
        f"At 120 it moved by {by} mmHg ({low} to {high}) in {moved.days:.0f} days{doubt}: evenly or at one knock, "
        "the checks do not tell. Both are shown."
    )


def basis_words(found: Recall) -> list[str]:
    """Return by which policies the clients' lines were judged, and what of those is from memory."""
    used = dict.fromkeys(line.change.policy for line in found.lines if line.change is not None)
    told = []
    for policy_id in used:
        memory = clinical_policy(policy_id).from_memory()
        unseen = f" Not checked against the printed text: {', '.join(memory)}." if memory else ""
        told.append(f"Clients are judged by {policy_id}.{unseen}")
    return told


NOTHING = "\N{EN DASH}"


@dataclass(frozen=True, slots=True)
class Shown:
    """One row as shown: whose, the value as written, on the slope, with the whole error, and its interval [mmHg]."""

    code: str
    written: str
    slope: str
    whole: str
    interval: str


def shown_rows(line: Line) -> list[Shown]:
    """Return the rows of a line: of a visit its value, of others every reading on the gauge."""
    change = line.change
    if change is None:
        return [_reading_row(each) for each in line.touched]
    interval = NOTHING
    if change.between is not None:
        low, high = change.between
        interval = _between((low.systolic_mmhg, high.systolic_mmhg), (low.diastolic_mmhg, high.diastolic_mmhg))
    written, slope, whole = (value_words(each) or NOTHING for each in (change.written, change.slope, change.whole))
    return [Shown(line.code, written, slope, whole, interval)]


def by_hand(line: Line) -> list[Worked]:
    """Return the calculation behind the corrections of a line's readings on the failed gauge."""
    ends = [
        (f"{end} {number}" if len(line.touched) > 1 else end, one.written_mmhg, one.found)
        for number, touched in enumerate(line.touched, start=1)
        for end, one in (("systolic", touched.systolic), ("diastolic", touched.diastolic))
        if one is not None
    ]
    found = drift_by_hand(ends)
    return [] if found is None else [found]


def _reading_row(touched: Touched) -> Shown:
    ends = touched.systolic, touched.diastolic
    found = [None if end is None else end.found.after_step for end in ends]
    whole = [each if isinstance(each, Corrected) else None for each in found]
    return Shown(
        touched.reading.client or touched.reading.observer[:8],
        "/".join("not heard" if end is None else str(end.written_mmhg) for end in ends),
        "/".join(_whole(end, "slope") for end in ends),
        "/".join(_whole(end, "whole") for end in ends),
        _between(*(None if each is None else (each.low_mmhg, each.high_mmhg) for each in whole)),
    )


def _whole(end: End | None, way: str) -> str:
    found = None if end is None else WAYS[way](end.found)
    return str(whole_mmhg(found.mmhg)) if isinstance(found, Corrected) else NOTHING


def _between(*ends: tuple[float, float] | None) -> str:
    return "/".join(NOTHING if end is None else f"{whole_mmhg(end[0])}{NOTHING}{whole_mmhg(end[1])}" for end in ends)


MOST_PRINTED = 1000
_SUGGESTED = {"recall": "measure again", "annotate": "a note", "stands": "stands", "void": "void"}


def worklist_pdf(
    found: Recall,
    lines: Sequence[Line],
    *,
    part: str,
    made_at: datetime,
    invented: bool,
    to: Reader | None = None,
) -> bytes:
    """Return some lines of the list as PDF, codes only; raises BadInputError where they are too many to print."""
    if len(lines) > MOST_PRINTED:
        raise BadInputError(
            f"worklist: {len(lines)} lines; at most {MOST_PRINTED} are printed, choose a part of the list"
        )
    window = found.window
    say = (to or reader(ENGLISH)).ours
    values = {
        "gauge": window.gauge.label,
        "part": say(part),
        "made": day(made_at),
        "failed": day(window.bad.at),
        "since": say("the first one" if window.good is None else f"the last good check on {day(window.good.at)}"),
        "reasons": "; ".join(map(say, window.bad.reasons)),
        "moved": moved_words(found.moved),
        "basis": basis_words(found),
        "lines": [_printed(line, say) for line in lines],
        "cautions": list(found.cautions()),
        "invented": invented,
    }
    return printed("recall_worklist", values, to=to, made_at=made_at)


def _printed(line: Line, say: Callable[[str], str]) -> list[str]:
    rows, change, decided = shown_rows(line), line.change, line.decided
    told = say(_SUGGESTED[line.suggested])
    if change is not None and change.changes in {"certainly", "perhaps"}:
        told = f"{told} ({say(change.changes)}): {category_words(change, say)}; {action_words(change, say)}"
    codes = ", ".join(dict.fromkeys(row.code for row in rows))
    return [
        f"{codes}, {line.touched[0].reading.taken_at[:10]}",
        *("\n".join(getattr(row, column) for row in rows) for column in ("written", "slope", "whole", "interval")),
        told,
        "" if decided is None else f"{say(decided.decision)}, {decided.by}, {decided.at[:10]}",
    ]
