"""An invented college with one class in mid-course, so that every page shows something.

Nobody in it exists. The readings are made the way a class makes them: each invented learner sets up an arm, pumps,
releases with a hand of their own, and writes what an ear of their own heard; the bench grades them like anybody's.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np

from hushpoint.arm import STANDARD_CUFF, Person, held_release, render_measurement, truth_of
from hushpoint.desk import access, bench, classes, demo_areas, papers, recordings, rounds
from hushpoint.ledger.records import Ledger
from hushpoint.measure import Heard
from hushpoint.practice.sealed import Key
from hushpoint.recording import wav_bytes

CLASS_NAME = "Measuring at rest, invented group A"
PASSWORD = "invented-lecturer"  # noqa: S105 - printed on the page; it opens invented data only
SEED = 20260302
POLICY = "PALPATED_30"
WEEKS = 3
JOINED = 14
"""So many of the list have joined."""
AT_ONCE = 5
"""So many measurements are there before the first page (design choice: about half a second)."""
PAPERS = 3
"""So many of the class have taken its listening paper."""
RECORDED: tuple[tuple[float, float, tuple[float, float] | None], ...] = (
    (118, 74, None),
    (136, 86, None),
    (168, 94, (132, 148)),
)
"""Systolic, diastolic and silent gap of the arms of its kept recordings [mmHg]."""

NAMES = (
    "Ines Invented",
    "Tomo Invented",
    "Bram Invented",
    "Asha Invented",
    "Noor Invented",
    "Luca Invented",
    "Mina Invented",
    "Oskar Invented",
    "Pia Invented",
    "Ravi Invented",
    "Suki Invented",
    "Theo Invented",
    "Uma Invented",
    "Viggo Invented",
    "Wren Invented",
    "Yara Invented",
)


@dataclass(frozen=True, slots=True)
class Habit:
    """How an invented learner works.

    `ear_mmhg` is the SD of the ear, `late_mmhg` how late it hears the first sound, `rate_mmhg_per_s` the release,
    `unsteady` the relative SD of the release, `zeros` the share of readings rounded to tens, `careful` the share of
    set-up rows done right.
    """

    ear_mmhg: float
    late_mmhg: float
    rate_mmhg_per_s: float
    unsteady: float
    zeros: float
    careful: float


class DemoClock:
    """Walks through the weeks of an invented course, ending a moment ago."""

    def __init__(self, now: datetime) -> None:
        self._at = now - timedelta(weeks=WEEKS)

    def to(self, moment: datetime) -> None:
        """Move on to a moment; never back."""
        self._at = max(self._at, moment)

    def __call__(self) -> str:
        """Return the time as the journal writes it, a moment later at each call."""
        self._at += timedelta(milliseconds=3)
        return self._at.astimezone(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


def build_demo(ledger: Ledger, clock: DemoClock, now: datetime) -> str:
    """Fill an empty ledger whose clock is `clock` with the invented college; return the code of its class.

    Something stands in every area, so that the app can answer at once; `fill_up` makes what takes longer.
    """
    access.set_password(ledger, PASSWORD)
    room = classes.open_class(ledger, name=CLASS_NAME, policy_id=POLICY)
    classes.add_roster(ledger, room=room, names=list(NAMES))
    learners = [classes.join(ledger, room=room, name=name) for name in NAMES[:JOINED]]
    first = _planned(now)[:AT_ONCE]
    for moment, *which in first:
        clock.to(moment)
        _measure(ledger, room=room, who=learners[which[0]], which=which)
    demo_areas.furnish(ledger, clock.to, now, room=room, learners=learners)
    clock.to(now)
    return room


def fill_up(ledger: Ledger, clock: DemoClock, now: datetime, files: recordings.RecordingFiles, *, room: str) -> None:
    """Make the rest of the college on a ledger of its own, whose clock is `clock`; begun again, it goes on.

    Meant for a thread beside the app: one act at a time, each whole, so that it may be stopped between any two.
    """
    names = {name: who for who, name in classes.names_of(ledger, room).items()}
    learners = [names.get(name) for name in NAMES[:JOINED]]  # some may have been erased meanwhile
    demo_areas.plan(ledger, now, room=room)
    add_recordings(ledger, files)
    for moment, *which in _planned(now)[AT_ONCE:]:
        clock.to(moment)
        who = learners[which[0]]
        if who is not None:
            _measure(ledger, room=room, who=who, which=which)
    clock.to(now - timedelta(days=2))
    here = [(who, _habit(place)) for place, who in enumerate(learners) if who is not None]
    if not papers.papers_of(ledger, room):
        _round_and_paper(ledger, room=room, learners=[who for who, _ in here], habits=[habit for _, habit in here])


def _planned(now: datetime) -> list[tuple[datetime, int, int, int]]:
    """Return when who measures: moment, place on the list, week, time."""
    return [
        (now - timedelta(weeks=WEEKS - week) + timedelta(days=1, minutes=7 * time + place), place, week, time)
        for week in range(WEEKS)
        for time in range(2)
        for place in range(JOINED)
        if time == 0 or place % 4 != 3  # some meet fewer people than others
    ]


def _round_and_paper(ledger: Ledger, *, room: str, learners: list[str], habits: list[Habit]) -> None:
    """Let the class hear one round, and a few of it a listening paper whose results are open."""
    rng = np.random.default_rng([SEED, 2])
    one = rounds.open_round(ledger, room=room, kind="gap", seed=SEED)
    rounds.start(ledger, room=room, round_id=one, now_ms=0.0)
    key = rounds.round_of(ledger, room, one).key
    for who, habit in zip(learners, habits, strict=True):
        rounds.seal(ledger, room=room, who=who, round_id=one, reading=_heard(key, habit, rng))
    rounds.close(ledger, room=room, round_id=one, how="opened")
    paper_id = papers.set_paper(ledger, room=room, setting=papers.Setting("Listening paper, week 3"), seed=SEED)
    asked: dict[str, Any] = {"ledger": ledger, "room": room}
    for who, habit in zip(learners[:PAPERS], habits, strict=False):
        attempt = papers.begin(**asked, who=who, paper_id=paper_id, profile_id="headphones", now="")
        keys = papers.keys_of(papers.paper_of(ledger, room, paper_id), attempt.form)
        mine: dict[str, Any] = {**asked, "who": who, "attempt_id": attempt.id, "now": ""}
        for place, sealed in enumerate(keys, start=1):
            papers.count_play(**mine, place=place, number=1)
            papers.answer(**mine, place=place, reading=_heard(sealed, habit, rng))
    papers.change(ledger, room=room, paper_id=paper_id, to="results_open")


def _heard(key: Key, habit: Habit, rng: np.random.Generator) -> dict[str, int | None]:
    return {
        "systolic": _written(key.systolic, -habit.late_mmhg, habit, rng),
        "diastolic": _written(key.diastolic, 0.0, habit, rng),
    }


def add_recordings(ledger: Ledger, files: recordings.RecordingFiles) -> None:
    """Keep rendered recordings as if taken from an arm, each with the readings of two invented observers."""
    there = {held.label for held in recordings.all_kept(ledger)}
    for place, (systolic, diastolic, gap) in enumerate(RECORDED):
        if f"Invented {place + 1}" in there:
            continue
        person = Person(systolic_mmhg=systolic, diastolic_mmhg=diastolic, gap_mmhg=gap)
        made = render_measurement(person, release_mmhg_per_s=2.5, seed=SEED + place, noise="quiet")
        pairs = zip(made.time_s.tolist(), made.pressure_mmhg.tolist(), strict=True)
        pressure = "time_s,pressure_mmHg\n" + "".join(f"{at:.3f},{mmhg:.2f}\n" for at, mmhg in pairs)
        sound = wav_bytes(made.samples, made.rate_hz)
        one = recordings.bring_in(files, "invented.wav", io.BytesIO(sound), io.BytesIO(pressure.encode()))
        recordings.keep(ledger, files, one, label=f"Invented {place + 1}")
        upper, lower = (2 * round(made.made[f"{end}_mmhg"] / 2) for end in ("systolic", "diastolic"))
        for observer, late in (("A", 0), ("B", 4)):  # B hears late
            recordings.observe(
                ledger, files, one, observer=observer, systolic=upper - late, diastolic=lower, answer_seen=False
            )


def _measure(ledger: Ledger, *, room: str, who: str, which: Sequence[int]) -> dict[str, Any]:
    """Let one invented learner measure one practice person; `which` is place, week, time: the same once only."""
    place, week, time = which
    rng, habit, ref = np.random.default_rng([SEED, *which]), _habit(place), f"invented-{week}-{time}"
    begun = bench.begin(ledger, who=who, ref=ref, room=room, policy_id=POLICY, seed=int(rng.integers(2**40)))
    choices = {
        row.id: row.right if rng.random() < habit.careful else str(rng.choice([one.id for one in row.choices]))
        for row in begun.rows
    }
    bench.set_up(ledger, who=who, measurement=begun.measurement, choices=choices)
    table = bench.arm_of(ledger, who=who, measurement=begun.measurement)
    person_mmhg = float(np.mean(table.systolic_mmhg[:60]))
    peak = min(290.0, round(person_mmhg / 2) * 2 + float(rng.choice([10, 32, 34, 36, 38])))
    time_s, pressure_mmhg, events = _felt_then_heard(person_mmhg, peak, habit, rng)
    truth = truth_of(table, time_s, pressure_mmhg)
    count = int(np.sum(table.foot_s < 30))  # the log's clock starts with the count in this invented class
    reading = {
        "systolic": _written(truth.systolic, -habit.late_mmhg, habit, rng),
        "diastolic": _written(truth.diastolic, 0.0, habit, rng),
        "muffling": None,
    }
    if reading["systolic"] is None or reading["diastolic"] is None:
        reading = dict.fromkeys(reading)
    log: dict[str, Any] = {
        "time_s": [round(float(second), 4) for second in time_s],
        "pressure_mmhg": [round(float(mmhg), 2) for mmhg in pressure_mmhg],
        "events": events,
        "pulse": {"from_s": 0.0, "seconds": 30, "count": count + int(rng.integers(-1, 2)), "regular": True},
        "palpated_mmhg": round(person_mmhg / 2) * 2,
        "reading": reading,
        "guided": False,
        "visible_pulse": False,
        "needle_spoken": False,
        "input": "touch",
    }
    bench.file_log(ledger, who=who, measurement=begun.measurement, log=log)
    return bench.grade(ledger, begun.measurement)


def _felt_then_heard(
    person_mmhg: float, peak_mmhg: float, habit: Habit, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, list[dict[str, Any]]]:
    """Return a log with two inflations: until the pulse at the wrist goes, and, after a wait, the one to listen to."""
    felt_mmhg = min(290.0, person_mmhg + 6)
    felt_s, felt, felt_events = held_release(
        STANDARD_CUFF, felt_mmhg, 3.0, rng, wait_s=31.0, open_at_mmhg=felt_mmhg - 1
    )
    heard_s, heard, heard_events = held_release(
        STANDARD_CUFF, peak_mmhg, habit.rate_mmhg_per_s, rng, wait_s=20.0, unsteady=habit.unsteady, open_at_mmhg=40.0
    )
    later_s = float(felt_s[-1]) + STANDARD_CUFF.step_s
    events = [*felt_events, *({**event, "at_s": round(event["at_s"] + later_s, 3)} for event in heard_events)]
    return np.concatenate([felt_s, heard_s + later_s]), np.concatenate([felt, heard]), events


def _written(end: object, late_mmhg: float, habit: Habit, rng: np.random.Generator) -> int | None:
    """Return what this learner writes for an end of the sounds; None is "not heard"."""
    if not isinstance(end, Heard):
        return None
    heard = end.mmhg + late_mmhg + float(rng.normal(0, habit.ear_mmhg))
    grid = 10 if rng.random() < habit.zeros else 2
    return int(np.clip(round(heard / grid) * grid, 0, 300))


def _habit(place: int) -> Habit:
    """Draw the habits of an invented learner: most are steady, a few hurry, a few love tens."""
    rng = np.random.default_rng([SEED, place])
    return Habit(
        ear_mmhg=float(rng.choice([1.0, 1.5, 2.5, 4.0])),
        late_mmhg=float(rng.choice([0.0, 0.0, 2.0, 4.0])),
        rate_mmhg_per_s=float(rng.choice([2.2, 2.5, 2.8, 4.5, 6.0])),
        unsteady=float(rng.uniform(0.05, 0.35)),
        zeros=float(rng.choice([0.0, 0.0, 0.1, 0.6])),
        careful=float(rng.choice([0.75, 0.9, 1.0])),
    )
