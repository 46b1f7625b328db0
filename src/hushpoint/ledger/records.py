"""What the ledger keeps: entries go in, rows come out, nothing is ever edited.

A row of the journal carries numbers and digests only; what was said lives apart in its payload, so that one person's
data can be erased while the chain of digests still verifies.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import StrEnum
from typing import Any, Protocol

from hushpoint.errors import AlreadyDoneError, BadInputError, HushpointError, NotFoundError

Clock = Callable[[], str]
"""Gives the time now: UTC, ISO 8601 with microseconds and a trailing Z."""


def utc_now() -> str:
    """Return the time now as the journal writes it."""
    return datetime.now(UTC).isoformat(timespec="microseconds").replace("+00:00", "Z")


class Kind(StrEnum):
    """Every kind of act in the journal; each is described in docs/reference.md."""

    CLASS_OPENED = "class.opened"
    CLASS_CHANGED = "class.changed"
    CLASS_CLOSED = "class.closed"
    ROSTER_ADDED = "roster.added"
    ROSTER_CHANGED = "roster.changed"
    LEARNER_JOINED = "learner.joined"
    DEVICES_ENDED = "devices.ended"
    MEASUREMENT_BEGUN = "measurement.begun"
    MEASUREMENT_SET_UP = "measurement.set_up"
    MEASUREMENT_FILED = "measurement.filed"
    MEASUREMENT_JUDGED = "measurement.judged"
    READING_CORRECTED = "reading.corrected"
    READING_TAKEN = "reading.taken"
    READING_AMENDED = "reading.amended"
    KIT_ADDED = "kit.added"
    KIT_CHANGED = "kit.changed"
    KIT_RETIRED = "kit.retired"
    KIT_WIPED = "kit.wiped"
    KIT_KNOCKED = "kit.knocked"
    KIT_CHECKED = "kit.checked"
    KIT_TIMED = "kit.timed"
    POLICY_ADOPTED = "policy.adopted"
    PAPER_SET = "paper.set"
    PAPER_CHANGED = "paper.changed"
    PAPER_EXPORTED = "paper.exported"
    PAPER_BEGUN = "paper.begun"
    PAPER_PLAYED = "paper.played"
    PAPER_ANSWERED = "paper.answered"
    PAPER_MARKED = "paper.marked"
    ROUND_OPENED = "round.opened"
    ROUND_STARTED = "round.started"
    ROUND_READY = "round.ready"
    ROUND_SEALED = "round.sealed"
    ROUND_CLOSED = "round.closed"
    PAIR_OPENED = "pair.opened"
    PAIR_SEALED = "pair.sealed"
    PAIR_TAKEN_BACK = "pair.taken_back"
    PAIR_TURNED = "pair.turned"
    PAIR_CANCELLED = "pair.cancelled"
    TECHNIQUE_BEGUN = "technique.begun"
    TECHNIQUE_MARKED = "technique.marked"
    RECALL_OPENED = "recall.opened"
    RECALL_DECIDED = "recall.decided"
    RECORDING_KEPT = "recording.kept"
    RECORDING_READ = "recording.read"
    RECORDING_OBSERVED = "recording.observed"
    ROTATION_PLANNED = "rotation.planned"
    ROTATION_CHANGED = "rotation.changed"
    CONSENT_GIVEN = "consent.given"
    CONSENT_WITHDRAWN = "consent.withdrawn"
    FINDING_PLAN_SET = "finding.plan_set"
    FINDING_NOTED = "finding.noted"
    QUESTION_ANSWERED = "question.answered"
    VISIT_BEGUN = "visit.begun"
    VISIT_TOLD = "visit.told"
    VISIT_CLOSED = "visit.closed"
    LETTER_MADE = "letter.made"
    REFERRAL_REPLIED = "referral.replied"
    REFERRAL_CLOSED = "referral.closed"
    RULE_ADOPTED = "rule.adopted"
    UNIT_ADOPTED = "unit.adopted"
    DECISION_SIGNED = "decision.signed"
    DECISION_AMENDED = "decision.amended"
    DECISION_APPEALED = "decision.appealed"
    ACT_UNDONE = "act.undone"
    PERSON_ERASED = "person.erased"


@dataclass(frozen=True, slots=True)
class Entry:
    """One act to append.

    `body` is JSON: str, int (64 bits), float (finite), bool, None, lists and string-keyed mappings of these.
    `room` is the class code, `who` the random id of the person whose data the body is ("" where it is nobody's),
    `ref` the caller's own id of the act: one (kind, ref) is stored once, whatever is sent.
    """

    kind: Kind
    body: Mapping[str, Any]
    room: str = ""
    who: str = ""
    ref: str | None = None


@dataclass(frozen=True, slots=True)
class Row:
    """One act as stored. `seq` runs 1, 2, 3 … in commit order; `body` is None where it has been erased.

    `at` is UTC, ISO 8601 with microseconds and a trailing Z.
    """

    seq: int
    at: str
    kind: Kind
    version: int
    room: str
    who: str
    ref: str | None
    body: Mapping[str, Any] | None
    digest: str
    chain: str


@dataclass(frozen=True, slots=True)
class Sealed:
    """A payload whose names are encrypted, as it lies in the store: `text` without them, `secret` with them, base64."""

    text: str
    secret: str


@dataclass(frozen=True, slots=True)
class Stored:
    """A row with what its digest was taken over.

    Salt and text are None where the payload was erased, and where its names are encrypted and cannot be opened here:
    `sealed` then holds the payload as it lies in the store, and the row's body has a code in the place of a name.
    """

    row: Row
    salt: str | None
    text: str | None
    sealed: Sealed | None = None


@dataclass(frozen=True, slots=True)
class Head:
    """What a row is about, without what it says: enough to know whom it concerns."""

    seq: int
    kind: Kind
    room: str
    ref: str | None = None


def is_about(ref: str | None, about: Collection[str]) -> bool:
    """Tell whether a ref begins with one of these ids and a dot."""
    begins, dot, _ = (ref or "").partition(".")
    return bool(dot) and begins in about


@dataclass(frozen=True, slots=True)
class Verification:
    """What `verify` found: rows checked, rows erased on request, and the first altered row with the reason."""

    rows: int
    erased: int
    first_altered: int | None
    reason: str
    head: str
    """The chain of the last whole row: written down on paper, it also shows a journal cut short at its end."""
    set_back: tuple[int, ...] = ()
    """Rows whose time is over a minute before that of the row above: the clock was set back; numbers keep the order."""
    unopened: int = 0
    """Rows whose names are encrypted and were not opened: their place in the chain was checked, not what they say."""


class LedgerError(HushpointError):
    """The store could not do what was asked; nothing was written."""


class UnkeepableError(LedgerError, BadInputError):
    """A body holds something that no store gives back as it was; nothing was written."""


class ErasedPersonError(LedgerError, NotFoundError):
    """Something was to be stored about a person whose data was erased; nothing was written.

    Work that began before an erasure (a grading, a log on its way) must not bring the person back.
    """


class AlreadyStoredError(AlreadyDoneError):
    """An entry of this kind and ref is stored already; `row` is the stored one. Nothing new was written."""

    def __init__(self, row: Row) -> None:
        super().__init__(f"{row.kind} {row.ref} is stored already as row {row.seq}")
        self.row = row


class Ledger(Protocol):
    """The one contract of the memory, SQLite and PostgreSQL stores. Calls are safe from several threads."""

    def append(self, *entries: Entry) -> list[Row]:
        """Store all entries or none, in order, durably, with one time, and return their rows.

        Raises AlreadyStoredError where a (kind, ref) is stored, ErasedPersonError where an entry is about somebody
        whose data was erased, LedgerError where the store refuses.
        """
        ...

    def rows(
        self,
        *,
        after: int = 0,
        kinds: Iterable[Kind] | None = None,
        room: str | None = None,
        who: str | None = None,
        ref: str | None = None,
        limit: int | None = None,
    ) -> Iterator[Row]:
        """Yield rows with seq > after in order of seq, narrowed by whatever is given."""
        ...

    def last(self) -> int:
        """The newest seq, 0 in an empty store."""
        ...

    def newer(self, after: int, wait_s: float) -> int:
        """Wait up to `wait_s` for a row beyond `after`, whichever process stores it, and return the newest seq."""
        ...

    def heads(
        self,
        *,
        after: int = 0,
        limit: int | None = None,
        kinds: Iterable[Kind] | None = None,
        room: str | None = None,
        who: str | None = None,
        about: Collection[str] | None = None,
    ) -> list[Head]:
        """Return the heads of the next rows beyond `after`, in order of seq, narrowed by whatever is given.

        They cost far less than the rows: no payload is read. `about` are ids without a dot: of rows whose ref begins
        with one of them and a dot.
        """
        ...

    def turn(self, what: str) -> AbstractContextManager[None]:
        """Hold a named turn: of all who ask for it, in every process that serves this store, one at a time.

        For acts that look first and store then, such as whether a name is free. Turns are not nested.
        """
        ...

    def kept(self, seqs: Iterable[int], *, read: bool = True) -> list[Stored]:
        """Return these rows with salt and text, in order of seq; numbers that no row has are passed over.

        Where the texts are not to be `read`, rows may be without a body: enough for digests, and sooner there.
        """
        ...

    def erase(self, who: str, *, why: str) -> int:
        """Erase the payloads of every row of this person, journal that (kind person.erased), return how many."""
        ...

    def verify(self) -> Verification:
        """Recompute every digest and the chain."""
        ...

    def setting(self, key: str) -> str | None:
        """A small named text kept beside the journal (password hash, cookie key); None where unset."""
        ...

    def set_setting(self, key: str, value: str) -> None:
        """Set a named text, replacing what was there."""
        ...

    def keep_setting(self, key: str, value: str) -> str:
        """Set a named text unless it is set already, and return what stands: of many at once, one wins."""
        ...

    def close(self) -> None:
        """Let go of files and connections."""
        ...
