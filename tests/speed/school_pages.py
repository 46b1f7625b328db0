"""How long the pages of a school take, from a real server over a ledger made by school.py: p50 and p95, as a table.

Each page is first asked for once in each class (or by each learner, where it is their own): those first looks after the
start of the server, while it reads what it then holds, are told apart. Then at classes and learners drawn by chance.

    python tests/speed/school_pages.py --data DIR [--database URL] [--times 40]
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Callable
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import httpx2

from hushpoint.desk import classes
from hushpoint.ledger.records import Kind
from hushpoint.ledger.store import open_ledger
from school import PASSWORD
from serving import start, stop

ROOMS = 8
"""So many classes are looked at: as many as have lessons at the same time."""


def main() -> None:
    """Print the table."""
    asked = argparse.ArgumentParser(description="Times of a school's pages.")
    asked.add_argument("--data", type=Path, required=True)
    asked.add_argument("--database")
    asked.add_argument("--times", type=int, default=40)
    given = asked.parse_args()
    ledger = open_ledger(given.data, given.database)
    draw = random.Random(3)
    rooms = [one.code for one in classes.all_classes(ledger)]
    rooms = draw.sample(rooms, min(ROOMS, len(rooms)))
    people = [
        (room, row.who, str((row.body or {})["name"]))
        for room in rooms
        for row in ledger.rows(kinds=[Kind.LEARNER_JOINED], room=room)
    ]
    visit = next((row.room for row in ledger.rows(kinds=[Kind.VISIT_BEGUN], limit=1)), "")
    words = {who: classes.word_of(ledger, room, who) for room, who, _ in people}
    last = ledger.last()
    ledger.close()
    begun = time.perf_counter()
    site = start(given.data, *(("--database", given.database) if given.database else ()))
    print(f"{last} rows; start to ready {time.perf_counter() - begun:.2f} s")
    lecturer = httpx2.Client(base_url=site.here, timeout=600, headers={"accept": "text/html"})
    lecturer.post("/class/sign-in", data={"password": PASSWORD})
    phones: dict[str, httpx2.Client] = {}

    def phone(who: tuple[str, str, str]) -> httpx2.Client:
        if who[1] not in phones:
            phones[who[1]] = httpx2.Client(base_url=site.here, timeout=600, headers={"accept": "text/html"})
            phones[who[1]].post(f"/join/{who[0]}", data={"name": who[2], "word": words[who[1]]})
        return phones[who[1]]

    few = draw.sample(people, min(10, len(people)))

    def page(name: str, path: Callable[[str, str], str], own: bool = False) -> None:
        def ask(whom: tuple[str, str, str]) -> tuple[httpx2.Client, str]:
            return (phone(whom) if own else lecturer), path(whom[0], whom[1])

        first = few if own else [next(one for one in people if one[0] == room) for room in rooms]
        _timed(
            name, [ask(one) for one in first], [ask(draw.choice(few if own else people)) for _ in range(given.times)]
        )

    print("| page | slowest first look [ms] | p50 [ms] | p95 [ms] |\n|---|---|---|---|")
    try:
        page("door", lambda *_: "/")
        page("join a class", lambda room, _: f"/join/{room}")
        page("class list", lambda *_: "/class")
        page("class page (board)", lambda room, _: f"/class/{room}")
        page("class wall", lambda room, _: f"/class/{room}/wall")
        page("learner, to the lecturer", lambda room, who: f"/class/{room}/learner/{who}")
        page("learner's results, to the lecturer", lambda room, who: f"/class/{room}/learner/{who}/results")
        page("learner's pairs, to the lecturer", lambda room, who: f"/class/{room}/learner/{who}/pairs")
        page("practise, own page", lambda *_: "/practise", own=True)
        page("bench", lambda *_: "/practise/bench", own=True)
        page("own results", lambda *_: "/practise/results", own=True)
        page("own pairs", lambda *_: "/practise/pairs", own=True)
        page("a phone's look for its pair", lambda *_: "/practise/pairs/waiting", own=True)
        page("pairs of a class", lambda room, _: f"/class/{room}/pairs")
        page("rounds of a class", lambda room, _: f"/class/{room}/rounds")
        page("whose error in a class", lambda room, _: f"/class/{room}/whose")
        page("evidence, all classes", lambda *_: "/evidence")
        page("evidence of a class", lambda room, _: f"/evidence/{room}")
        page("evidence of one learner", lambda room, who: f"/evidence/{room}/{who}")
        page("kit", lambda *_: "/kit")
        page("recall", lambda *_: "/recall")
        page("clients", lambda *_: "/client")
        if visit:
            page("a visit", lambda *_: f"/client/{visit}")
    finally:
        memory = Path(f"/proc/{site.process.pid}/status").read_text().partition("VmRSS:")[2].split()[0]
        print(f"server's memory {int(memory) / 1000:.0f} MB")
        lecturer.close()
        for one in phones.values():
            one.close()
        stop(site)


def _timed(name: str, first: list[tuple[httpx2.Client, str]], then: list[tuple[httpx2.Client, str]]) -> None:
    """Ask for the first looks, then for the others; at most a minute for the others."""
    statuses: set[int] = set()

    def asked(client: httpx2.Client, path: str) -> float:
        begun = time.perf_counter()
        statuses.add(client.get(path).status_code)
        return 1000 * (time.perf_counter() - begun)

    early = [asked(*one) for one in first]
    until = time.perf_counter() + 60
    rest = sorted(asked(*one) for place, one in enumerate(then) if place < 2 or time.perf_counter() < until)
    wrong = "" if statuses == {200} else f" (status {sorted(statuses)})"
    p50, p95 = rest[len(rest) // 2], rest[min(len(rest) - 1, int(0.95 * len(rest)))]
    print(f"| {name}{wrong} | {max(early):.0f} | {p50:.0f} | {p95:.0f} |", flush=True)


if __name__ == "__main__":
    main()
