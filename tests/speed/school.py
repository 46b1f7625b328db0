"""An invented school in a ledger: classes, learners, pairs, bench measurements and visits, as many as asked for.

Rows are made and chained here as the journal makes them (`hushpoint verify` holds) and copied in bulk, so that five
million readings take minutes. The same numbers give the same school, byte by byte.

    python tests/speed/school.py --data DIR [--database URL] --readings 5000000 --classes 200 --learners 25
"""

from __future__ import annotations

import argparse
import json
import random
import sys
import time
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from itertools import islice
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parents[1]))

import sqlalchemy as sa

from bench_logs import bench_log
from hushpoint.desk import access, bench, classes, pairs, visits
from hushpoint.ledger.chain import GENESIS
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Row
from hushpoint.ledger.store import FILE_NAME, open_ledger
from hushpoint.ledger.tables import journal, payload

PASSWORD = "ten letters or more"
BENCH_EACH, VISITS = 10, 2000
"""Bench measurements of each learner, with logs as a phone sends them, and visits of clients."""
BEGUN = datetime(2026, 2, 2, 9, tzinfo=UTC)
CHUNK = 20_000
Act = tuple[str, str, str, str | None, str]
"""Kind, room, who, ref, canonical text."""


def _canonical(body: Any) -> str:
    return json.dumps(body, sort_keys=True, ensure_ascii=False, separators=(",", ":"))


def _patterns() -> tuple[list[Row], list[Row], str, str]:
    """Rows of one bench measurement and of one visit, as the app stores them, with the ids to be replaced."""
    made = MemoryLedger()
    room = classes.open_class(made, name="Pattern", policy_id="PALPATED_30")
    who = classes.join(made, room=room, name="Pattern")
    begun = bench.begin(made, who=who, ref="a", room=room, guided=False, again=None, policy_id="PALPATED_30")
    choices = {row.id: row.choices[0].id for row in begun.rows}
    bench.set_up(made, who=who, measurement=begun.measurement, choices=choices, profile_id="headphones")
    bench.file_log(made, who=who, measurement=begun.measurement, log=bench_log())
    bench.grade(made, begun.measurement)
    measured = [row for row in made.rows(who=who) if row.kind.startswith("measurement.")]
    before = made.last()
    visit = visits.begin(made, policy_id="ACC_AHA_2017", code="K0000")
    for place, (systolic, diastolic) in enumerate(((128, 82), (126, 80)), start=1):
        at = datetime.now(UTC) + timedelta(seconds=75 * place)
        reading = {"arm": "right", "systolic": systolic, "diastolic": diastolic}
        visits.act(made, visit, {"ref": f"pattern-{place}", "at": at.isoformat(), "reading": reading}, at)
    visited = list(made.rows(after=before))
    return measured, visited, begun.measurement, visit


def acts(*, readings: int, groups: int, learners: int, seed: int) -> Iterator[Act]:
    """Yield every act of the school, in order: classes and names first, then each week's work of every class."""
    draw = random.Random(seed)
    letters = classes.LETTERS
    rooms = []
    for number in range(groups):
        room = "".join(letters[(number // len(letters) ** place) % len(letters)] for place in range(4))[::-1]
        rooms.append((room, [f"{draw.getrandbits(80):020x}" for _ in range(learners)]))
        yield "class.opened", room, "", room, _canonical({"name": f"Group {number}", "policy": "PALPATED_30"})
        for place, who in enumerate(rooms[-1][1]):
            yield "learner.joined", room, who, None, _canonical({"name": f"Invented {number}-{place}"})
    gauges = [f"G{number:05d}" for number in range(6)]
    for number, item in enumerate(gauges):
        body = {"item": item, "by": "lecturer", "type": "gauge", "label": f"Gauge {number + 1}"}
        yield "kit.added", "", "", item, _canonical(body)
    everybody = [(room, who) for room, people in rooms for who in people]
    benched = min(BENCH_EACH * len(everybody), readings // 20)
    measured, visited, old_measurement, old_visit = _patterns()
    logs = [(row, _canonical(row.body)) for row in measured]
    for number in range(benched):
        room, who = everybody[number % len(everybody)]
        new = f"{draw.getrandbits(80):020x}"
        for row, text in logs:
            ref = str(row.ref).replace(old_measurement, new)
            yield str(row.kind), room, who, ref, text.replace(old_measurement, new)
    for number in range(min(VISITS, readings // 50)):
        new, who = f"{draw.getrandbits(len(old_visit) * 4):0{len(old_visit)}x}", f"{draw.getrandbits(64):016x}"
        swap = {old_visit: new, "K0000": f"K{number:04d}", "pattern-": f"v{number:06d}-"}
        for row in visited:
            yield str(row.kind), new, who, row.ref and _swapped(row.ref, swap), _swapped(_canonical(row.body), swap)
    yield from _pairs(everybody, gauges, (readings - benched) // 2, draw)


def _pairs(everybody: list[tuple[str, str]], gauges: list[str], many: int, draw: random.Random) -> Iterator[Act]:
    """Pairs of every learner with the lecturer, from sheets, one after another through the school."""
    opening = asdict(pairs.Opening(learner="@WHO", gauge="@GAUGE", client="@CLIENT", taken_at="@AT", via="paper"))
    opened = _canonical({"pair": "@PAIR", **opening})
    reading = {
        "measurement": "@PAIR", "observer": "@OBSERVER", "systolic": 1, "diastolic": 2, "taken_at": "@AT", "arm": "",
        "client": "@CLIENT", "gauge": "@GAUGE", "cuff": "", "stethoscope": "", "via": "paper",
    }  # fmt: skip
    read = _canonical(reading).replace(":1,", ":@SYSTOLIC,").replace(":2,", ":@DIASTOLIC,")
    opened_at, read_at = _template(opened), _template(read)
    for number in range(many):
        room, who = everybody[number % len(everybody)]
        bits = draw.getrandbits(96)
        pair, gauge, client = f"{bits & (1 << 64) - 1:016x}", gauges[bits % 6], f"K{bits % 900:03d}"
        at = (BEGUN + timedelta(seconds=number)).isoformat().replace("+00:00", "Z")
        systolic, diastolic = 104 + 2 * ((bits >> 64) % 25), 62 + 2 * ((bits >> 70) % 15)
        off = 2 * ((bits >> 80) % 5) - 4
        fill = {"@WHO": who, "@GAUGE": gauge, "@CLIENT": client, "@AT": at, "@PAIR": pair}
        yield "pair.opened", room, who, f"s{number}", opened_at.format_map(fill)
        fill |= {"@OBSERVER": who, "@SYSTOLIC": str(systolic + off), "@DIASTOLIC": str(diastolic)}
        yield "reading.taken", room, who, f"{pair}.{who}", read_at.format_map(fill)
        fill |= {"@OBSERVER": "lecturer", "@SYSTOLIC": str(systolic)}
        yield "reading.taken", room, "", f"{pair}.lecturer", read_at.format_map(fill)
        yield "pair.turned", room, who, pair, f'{{"fair":true,"pair":"{pair}"}}'


def _swapped(text: str, swap: dict[str, str]) -> str:
    for old, new in swap.items():
        text = text.replace(old, new)
    return text


def _template(text: str) -> str:
    """A text with @NAME places as a format string."""
    made = text.replace("{", "{{").replace("}", "}}")
    for name in ("@WHO", "@GAUGE", "@CLIENT", "@AT", "@PAIR", "@OBSERVER", "@SYSTOLIC", "@DIASTOLIC"):
        made = made.replace(name, f"{{{name}}}")
    return made


def chained_rows(
    acts_: Iterable[Act], seed: int, seq: int = 0, chain: str = GENESIS
) -> Iterator[tuple[tuple[Any, ...], tuple[Any, ...]]]:
    """Yield journal and payload records with their digests, as `ledger.chain` makes them; all texts are ASCII."""
    draw, at = random.Random(seed + 1), BEGUN
    step = timedelta(milliseconds=7)
    stamp = ""
    for kind, room, who, ref, text in acts_:
        seq += 1
        if seq % 64 == 1:
            at += step
            stamp = at.isoformat(timespec="microseconds").replace("+00:00", "Z")
        salt = f"{draw.getrandbits(128):032x}"
        digest = sha256(f"{salt}\n{text}".encode()).hexdigest()
        told = "null" if ref is None else f'"{ref}"'
        columns = f'["{chain}", {seq}, "{stamp}", "{kind}", 1, "{room}", "{who}", {told}, "{digest}"]'
        chain = sha256(columns.encode()).hexdigest()
        yield (seq, stamp, kind, 1, room, who, ref, digest, chain), (seq, salt, text)


def fill(data: Path, database: str | None, *, readings: int, groups: int, learners: int, seed: int = 5) -> int:
    """Make the school in an empty ledger; return how many rows it has."""
    ledger = open_ledger(data, database)
    access.set_password(ledger, PASSWORD)
    ledger.close()
    rows = chained_rows(acts(readings=readings, groups=groups, learners=learners, seed=seed), seed)
    count = _into_postgres(database, rows) if database else _into_sqlite(data / FILE_NAME, rows)
    ledger = open_ledger(data, database)
    ledger.set_setting("bench.all_judged_to", str(count))  # as every start of the app leaves it
    ledger.close()
    return count


def _into_sqlite(path: Path, rows: Iterator[tuple[tuple[Any, ...], tuple[Any, ...]]]) -> int:
    import sqlite3

    store = sqlite3.connect(path, isolation_level=None)
    made = [sql for (sql,) in store.execute("SELECT sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL")]
    names = [name for (name,) in store.execute("SELECT name FROM sqlite_master WHERE type='index' AND sql IS NOT NULL")]
    store.execute("PRAGMA synchronous=OFF")
    store.execute("PRAGMA cache_size=-400000")
    for name in names:
        store.execute(f"DROP INDEX {name}")
    count = 0
    while chunk := list(islice(rows, CHUNK)):
        store.execute("BEGIN IMMEDIATE")
        store.executemany("INSERT INTO journal VALUES (?,?,?,?,?,?,?,?,?)", [one for one, _ in chunk])
        store.executemany("INSERT INTO payload (seq, salt, body) VALUES (?,?,?)", [two for _, two in chunk])
        store.execute("COMMIT")
        count += len(chunk)
    for sql in made:
        store.execute(sql)
    store.execute("PRAGMA optimize")
    store.close()
    return count


def _into_postgres(database: str, rows: Iterator[tuple[tuple[Any, ...], tuple[Any, ...]]]) -> int:
    engine = sa.create_engine(sa.make_url(database).set(drivername="postgresql+psycopg"))
    count = 0
    with engine.connect() as connection:
        raw: Any = connection.connection.driver_connection
        indexes = [index for table in (journal, payload) for index in table.indexes]
        for index in indexes:
            index.drop(connection)
        connection.exec_driver_sql("SET session_replication_role = replica")
        cursor = raw.cursor()
        while chunk := list(islice(rows, CHUNK)):
            with cursor.copy("COPY journal (seq,at,kind,version,room,who,ref,digest,chain) FROM STDIN") as copy:
                copy.write(
                    "".join("\t".join("\\N" if one is None else str(one) for one in row) + "\n" for row, _ in chunk)
                )
            with cursor.copy("COPY payload (seq,salt,body) FROM STDIN") as copy:
                copy.write(
                    "".join(f"{seq}\t{salt}\t" + body.replace("\\", "\\\\") + "\n" for _, (seq, salt, body) in chunk)
                )
            count += len(chunk)
        connection.exec_driver_sql("SET maintenance_work_mem = '512MB'")
        for index in indexes:
            index.create(connection)
        connection.commit()
    with engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("ANALYZE")
    engine.dispose()
    return count


def main() -> None:
    """Make a school from the command line."""
    asked = argparse.ArgumentParser(description="An invented school in an empty ledger.")
    asked.add_argument("--data", type=Path, required=True)
    asked.add_argument("--database")
    asked.add_argument("--readings", type=int, default=5_000_000)
    asked.add_argument("--classes", type=int, default=200)
    asked.add_argument("--learners", type=int, default=25, help="in each class")
    given = asked.parse_args()
    begun = time.perf_counter()
    count = fill(given.data, given.database, readings=given.readings, groups=given.classes, learners=given.learners)
    print(f"{given.readings} readings, {count} rows in {time.perf_counter() - begun:.0f} s")


if __name__ == "__main__":
    main()
