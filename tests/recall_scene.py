"""The scene of the gauge that reads 6 low: good on 1 May, found out on 22 May; everything in it is invented."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from hushpoint.desk import kit, live
from hushpoint.instrument import Direction, GaugePoint
from hushpoint.ledger.records import Entry, Ledger

STEPS = (0.0, 60.0, 100.0, 150.0, 200.0, 250.0, 300.0)
GOOD, FOUND = datetime(2026, 5, 1, 8, tzinfo=UTC), datetime(2026, 5, 22, 8, tzinfo=UTC)
NOW = datetime(2026, 5, 22, 12, tzinfo=UTC)
RECALLED = {"K05": (136, 84), "K09": (156, 92), "K12": (134, 88), "K17": (174, 106)}
"""The four clients of the scene."""
NOTED = {
    "K01": (108, 66), "K02": (112, 70), "K03": (104, 62), "K04": (110, 72), "K06": (122, 72), "K07": (106, 68),
    "K08": (142, 84), "K10": (146, 90), "K11": (102, 64), "K13": (98, 60), "K14": (112, 68), "K15": (108, 70),
    "K16": (150, 86), "K18": (144, 82),
}  # fmt: skip
"""Fourteen others: with 6 more, and with 7.6, they stay in their band of NHFA 2016 and on their step of its ladder."""
CLIENTS = dict(sorted({**RECALLED, **NOTED}.items()))


def stamp(at: datetime) -> str:
    """Write a time as readings carry it."""
    return at.isoformat().replace("+00:00", "Z")


def points(error_mmhg: float) -> list[GaugePoint]:
    """The steps of the procedure, up and down, on a gauge off by one amount."""
    up = [GaugePoint(at, at + error_mmhg, Direction.UP) for at in STEPS]
    return up + [GaugePoint(at, at + error_mmhg, Direction.DOWN) for at in reversed(STEPS)]


def checked(ledger: Ledger, gauge: str, error_mmhg: float, at: datetime, rule: str = "in_use") -> kit.StoredCheck:
    """Store a check of a gauge off by one amount."""
    reference = kit.Reference("Invented reference", "INV-1", 0.0)
    return kit.file_check(
        ledger, gauge, points=points(error_mmhg), rule=rule, reference=reference, checked_at=at, how="bench",
        by="technician", now=max(NOW, at),
    )  # fmt: skip


def reading(
    measurement: str, observer: str, pair: tuple[int, int], at: datetime, gauge: str, via: live.Via, client: str = ""
) -> live.LiveReading:
    """One reading on the right arm."""
    return live.LiveReading(measurement, observer, *pair, stamp(at), via, "right", client, gauge)


def visit(client: str, pair: tuple[int, int], at: datetime, gauge: str) -> list[Entry]:
    """A client's visit of three equal readings, a minute apart."""
    return [
        live.entry_of(
            reading(f"{client}-{turn}", "P1", pair, at + timedelta(minutes=turn), gauge, "visit", client),
            room=f"visit{client}",
            who=f"person{client}",
        )
        for turn in range(3)
    ]


def furnish(ledger: Ledger, label: str = "G4") -> tuple[kit.Item, kit.Item]:
    """Fill a ledger with the scene and return the gauge 6 low and a good one.

    Eighteen visits, ten pairs on one inflation and the gauge 6 low, two with the other listener on the good gauge, and
    one single reading.
    """
    bad = kit.add(ledger, {"type": "gauge", "label": label}, by="lecturer")
    good = kit.add(ledger, {"type": "gauge", "label": label.replace("4", "1")}, by="lecturer")
    checked(ledger, bad.id, 0.0, GOOD)
    entries = []
    for day, (client, pair) in enumerate(CLIENTS.items(), start=1):
        entries += visit(client, pair, GOOD + timedelta(days=day, hours=2), bad.id)
    for turn in range(12):
        at = GOOD + timedelta(days=1 + turn, hours=5)
        learner = reading(f"m{turn}", f"L{turn:02}", (120 + turn, 78), at, bad.id, "pair")
        other = replace(learner, observer="lecturer", systolic_mmhg=122 + turn, gauge=bad.id if turn < 10 else good.id)
        for each in (learner, other):
            entries.append(live.entry_of(each, room="RKTM", who=each.observer))
    alone = reading("alone", "L00", (118, 76), GOOD + timedelta(days=3), bad.id, "paper")
    entries.append(live.entry_of(alone, room="RKTM", who="L00"))
    before = reading("before", "L00", (118, 76), GOOD - timedelta(days=3), bad.id, "paper")
    elsewhere = reading("else", "L00", (118, 76), GOOD + timedelta(days=3), good.id, "paper")
    entries += [live.entry_of(each, room="RKTM", who="L00") for each in (before, elsewhere)]
    ledger.append(*entries)
    checked(ledger, bad.id, -6.0, FOUND)
    return kit.item(ledger, bad.id), kit.item(ledger, good.id)
