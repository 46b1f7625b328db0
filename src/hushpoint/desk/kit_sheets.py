"""What is printed of the kit: labels, the certificate of a check, the calendar of due days."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from datetime import datetime

from hushpoint import __version__
from hushpoint.desk.gauge_words import check_notes, correction_rows, minus, one_decimal, signed_decimal
from hushpoint.desk.kit import Item, StoredCheck
from hushpoint.desk.kit_due import Due, State, due_of, told
from hushpoint.desk.kit_timed import TITLES, StoredTimed
from hushpoint.desk.printed import printed
from hushpoint.errors import BadInputError
from hushpoint.guideline import ArmRange, CuffSize
from hushpoint.instrument import USE, Direction, GaugeCheck
from hushpoint.sheet.calendar_file import Day, calendar_file
from hushpoint.sheet.gauge_picture import gauge_picture
from hushpoint.sheet.kit_labels import PER_PAGE, Label, labels
from hushpoint.words import ENGLISH, Reader, reader

CAUTION = (
    "An in-house check for teaching and local upkeep, no accredited calibration. Local policy and a calibration "
    "service come first. A gauge outside its limits is taken out of use, whatever its correction."
)
_LATEX = {"yes": "contains latex", "no": "latex-free", "unknown": "latex not known"}


def size_label(size: CuffSize) -> str:
    """Return a size of the table with its bladder and arms."""
    return (
        f"{size.label}: {size.bladder_width_cm:g} × {size.bladder_length_cm:g} cm, "
        f"arms {size.arm_from_cm} to {size.arm_to_cm}"
    )


def label_pages(
    items: Sequence[Item], *, address: str, used: str, invented: bool, made_at: datetime, to: Reader | None = None
) -> bytes:
    """Return labels for items as PDF; their pictures open `address`/k/ID. `used` places of the sheet stay empty."""
    text = used.strip() or "0"
    if not (text.isascii() and text.isdigit() and len(text) <= 2 and int(text) < PER_PAGE):
        raise BadInputError(f"labels used already: must be a whole number from 0 to {PER_PAGE - 1}")
    if not items:
        raise BadInputError("labels: the register holds none of these yet; add an item first")
    say = (to or reader(ENGLISH)).ours
    found = [Label(each.label, say(each.type), _measure(each, say), f"{address}/k/{each.id}") for each in items]
    values, pictures = labels(found, used=int(text), invented=invented)
    return printed("kit_labels", values, to=to, made_at=made_at, pictures=pictures)


def _measure(item: Item, say: Callable[[str], str]) -> str:
    if item.type == "cuff":
        arms = item.arms
        told_arms = f"arm {arms.from_cm} to {arms.to_cm} cm" if isinstance(arms, ArmRange) else "covers no arm"
        return f"{say(told_arms)}, {say(_LATEX[item.latex])}"
    return say(f"{item.head} head") if item.type == "stethoscope" else item.serial


def certificate(
    gauge: Item,
    stored: StoredCheck,
    timed: Sequence[StoredTimed],
    *,
    months: int,
    invented: bool,
    to: Reader | None = None,
) -> bytes:
    """Return the certificate of one stored check as PDF; the same check gives the same bytes in each language."""
    values = certificate_values(gauge, stored, timed, months=months, invented=invented, to=to)
    picture = gauge_picture(stored.check, stored.curve(), "svg", say=(to or reader(ENGLISH)).on_pictures)
    return printed("gauge_certificate", values, to=to, made_at=stored.at, pictures={"check.svg": picture})


def certificate_values(
    gauge: Item,
    stored: StoredCheck,
    timed: Sequence[StoredTimed],
    *,
    months: int,
    invented: bool,
    to: Reader | None = None,
) -> dict[str, object]:
    """Return what the layout `gauge_certificate` shows."""
    say = (to or reader(ENGLISH)).ours
    check, rule = stored.check, stored.check.rule
    due = due_of(Item(gauge.id, "gauge", gauge.label, checks=(stored,)), months, stored.at)
    hysteresis, apart = check.hysteresis, "not read"
    if hysteresis is not None:
        gap = signed_decimal(hysteresis.falling_minus_rising_mmhg)
        apart = f"{gap} at {hysteresis.at_mmhg:g}, falling minus rising"
    facts = [
        ("Gauge", f"{gauge.label}, id {gauge.id}" + (f", {say('serial')} {gauge.serial}" if gauge.serial else "")),
        ("Checked", f"{told(stored.at)}, {say('by:')} {stored.by}, {say('points from:')} {say(stored.how)}"),
        ("Reference", f"{stored.reference.name}; {say('certificate:')} {stored.reference.certificate}"),
        ("Its certificate error", f"{stored.reference.error_mmhg:g} mmHg"),
        ("Rule", f"{rule.id} ({say(rule.name)})"),
        ("Worst", say(f"{signed_decimal(check.worst.error_mmhg)} at {check.worst.point.reference_mmhg:g}, "
                      f"going {check.worst.point.direction}")),
        ("Zero", say("not read") if check.zero is None else signed_decimal(check.zero.error_mmhg)),
        ("Hysteresis", say(apart)),
        ("Next check due", say("none: out of use until it is mended and checked anew") if due.on is None else
                           say(f"{due.on.day} {due.on:%b %Y}, {months} months on; at once after a knock")),
    ]  # fmt: skip
    return {
        "label": gauge.label,
        "invented": invented,
        "foot": say(f"{gauge.label}, {told(stored.at)}, rule {rule.id}, row {stored.seq}, Hushpoint {__version__}"),
        "verdict": say("Within its limits" if stored.passed else "Outside its limits: take it out of use"),
        "reasons": list(stored.reasons),
        "facts": [[say(name), text] for name, text in facts],
        "rising": _run(check, Direction.UP, say),
        "falling": _run(check, Direction.DOWN, say),
        "uncertainty": uncertainty(check),
        "correction": [
            [
                minus(f"{shows:g}"),
                one_decimal(true.mmhg),
                say(f"{one_decimal(true.low_mmhg)} to {one_decimal(true.high_mmhg)}"),
            ]
            for shows, true in correction_rows(stored.curve())
        ],
        "use": f"{USE[0].upper()}{USE[1:]}.",
        "limits": [
            f"{say(name)}: {say(limit.words())}."
            for name, limit in (("Error", rule.error), ("Zero", rule.zero), ("Hysteresis", rule.hysteresis))
        ],
        "timed": [
            f"{say(TITLES[test.result.what].capitalize())}, {told(datetime.fromisoformat(test.at))}: "
            f"{say(test.result.value)}, {say(test.result.verdict)}; {say(test.result.reason)}."
            for test in timed
        ],
        "notes": check_notes(check),
        "caution": CAUTION,
    }


def _run(check: GaugeCheck, direction: Direction, say: Callable[[str], str]) -> list[list[str]]:
    return [
        [
            f"{error.point.reference_mmhg:g}",
            minus(f"{error.point.reading_mmhg:g}"),
            signed_decimal(error.error_mmhg),
            say(f"{signed_decimal(error.low_mmhg)} to {signed_decimal(error.high_mmhg)}"),
            say("within" if error.within else "outside"),
        ]
        for error in check.errors
        if error.point.direction is direction
    ]


def uncertainty(check: GaugeCheck) -> str:
    """Return how the interval of an error was made, with its size [mmHg]."""
    half = 2 * math.sqrt(check.reference_error_mmhg**2 / 3 + check.reading_interval_mmhg**2 / 12)
    return (
        f"Interval: ± {half:.1f}, coverage factor 2, from the reference's error {check.reference_error_mmhg:g} and "
        f"reading to {check.reading_interval_mmhg:g} (form of JCGM 100:2008, from memory). A point is within its limit "
        "where the size of its error plus the reference's own is at most the limit."
    )


def due_calendar(found: Sequence[Due], *, made_at: datetime, to: Reader | None = None) -> bytes:
    """Return the days on which gauges are due as a calendar file; what is out of use has no day."""
    say = (to or reader(ENGLISH)).ours
    days = [
        Day(
            f"gauge-{due.item.id}",
            due.on,
            say(f"Check gauge {due.item.label}"),
            f"{say(due.state.words)}: {say(due.why)}",
        )
        for due in found
        if due.on is not None and due.state is not State.OUT
    ]
    return calendar_file(days, made_at=made_at)
