"""Oral questions of one learner: the next one, and each answer recorded once."""

from __future__ import annotations

import hashlib
from collections import Counter
from dataclasses import dataclass

from hushpoint.desk.once import append_once
from hushpoint.errors import BadInputError
from hushpoint.ledger.records import Entry, Kind, Ledger
from hushpoint.practice.oral import KIND_WORDS, QUESTION_KINDS, Question, question


@dataclass(frozen=True, slots=True)
class Answered:
    """A question with what was chosen."""

    question: Question
    choice: int

    @property
    def right(self) -> bool:
        """Whether the choice was the right one."""
        return self.choice == self.question.right


def next_question(ledger: Ledger, who: str) -> Question:
    """Return the learner's next question."""
    return question(_seed(who), len(_answers(ledger, who)) + 1)


def answer(ledger: Ledger, *, room: str, who: str, number: str, choice: str) -> Answered:
    """Record the answer to a question and return it; a second answer to the same one changes nothing.

    Raises BadInputError for a choice that is not there, or a question whose turn has not come.
    """
    due = len(_answers(ledger, who)) + 1
    if not (_whole(number) and 1 <= int(number) <= due):
        raise BadInputError(f"question: must be a number from 1 to {due}")
    asked = question(_seed(who), int(number))
    if not (_whole(choice) and int(choice) < len(asked.choices)):
        raise BadInputError("choose one of the answers")
    given = Answered(asked, int(choice))
    body = {
        "seed": _seed(who),
        "number": asked.number,
        "kind": asked.kind,
        "choice": given.choice,
        "right": given.right,
    }
    entry = Entry(Kind.QUESTION_ANSWERED, body, room=room, who=who, ref=f"{who}/{asked.number}")
    row, _ = append_once(ledger, entry)
    return Answered(asked, int((row.body or body)["choice"]))


def tally(ledger: Ledger, who: str) -> list[tuple[str, int, int]]:
    """Return for each kind of question its words, how many were right, and how many answered."""
    kept = _answers(ledger, who)
    right, asked = Counter(kind for kind, was_right in kept if was_right), Counter(kind for kind, _ in kept)
    return [(KIND_WORDS[kind], right[kind], asked[kind]) for kind in QUESTION_KINDS]


def _answers(ledger: Ledger, who: str) -> list[tuple[str, bool]]:
    rows = ledger.rows(kinds=[Kind.QUESTION_ANSWERED], who=who)
    return [(str(row.body["kind"]), bool(row.body["right"])) for row in rows if row.body is not None]


def _seed(who: str) -> int:
    return int.from_bytes(hashlib.sha256(who.encode()).digest()[:6])


def _whole(text: str) -> bool:
    return text.isascii() and text.isdigit() and len(text) <= 6
