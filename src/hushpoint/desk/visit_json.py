"""A visit as JSON, strictly: bytes to a Visit, with one clear line for whatever cannot be read."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

from hushpoint.agreement.differences import shown
from hushpoint.desk.csv_file import told_name
from hushpoint.errors import BadInputError
from hushpoint.guideline.cuffs import TAPE_CM
from hushpoint.measure.reading import HIGHEST_MMHG
from hushpoint.visit import (
    ARMS,
    BARRED_REASONS,
    DISEASES,
    EMERGENCIES,
    INTENDED,
    POSTURE_FAULTS,
    SYMPTOMS,
    TODAY,
    Client,
    Pulse,
    StandingReading,
    TakenReading,
    Visit,
)

LARGEST_BYTES = 1_000_000
MOST_READINGS = 100
LONGEST_TEXT = 80
AGE_YEARS = (0.0, 120.0)
PULSE_PER_MIN = (20.0, 250.0)
YEARS = (1990, 2100)
ALL_SYMPTOMS = tuple(dict.fromkeys((*EMERGENCIES, *SYMPTOMS)))
_FIELDS = (
    "policy", "client", "consent", "performer", "cuff", "gauge", "position", "intended", "symptoms", "pulse",
    "readings", "today", "posture", "rested_s", "palpated", "standing",
)  # fmt: skip
_CLIENT = (
    "code", "age", "arm_cm", "barred_arms", "known_disease", "exercises_regularly", "cleared_within_12_months",
    "first_visit", "pregnant", "medicines", "barred_reasons",
)  # fmt: skip
RESTED_S = (0.0, 7200.0)
STANDING_S = (0.0, 1200.0)
_STANDING = ("after_s", "systolic", "diastolic")
_READING = ("at", "arm", "systolic", "diastolic")
_AT = re.compile(r"(\d{4})-\d\d-\d\d[T ]\d\d:\d\d(:\d\d(\.\d{1,6})?)?(Z|[+-]\d\d:?\d\d)?", re.ASCII)
_T = TypeVar("_T")


class VisitFileError(BadInputError):
    """A visit cannot be used; the line names the file, the place, the value and what is allowed."""


class _Place:
    """Where in the file: `told` is what an error line begins with."""

    def __init__(self, told: str) -> None:
        self._told = told

    def inside(self, where: str) -> _Place:
        return _Place(f"{self._told}, {where}")

    def refuse(self, found: object, legal: str) -> VisitFileError:
        return VisitFileError(f"{self._told}: {_seen(found)}; {legal} is needed")

    def silent(self, legal: str) -> VisitFileError:
        """The error for a text that may name a person: the text itself is not told."""
        return VisitFileError(f"{self._told}: {legal} is needed")


def visit_file_bytes(path: Path) -> bytes:
    """Return the bytes of a file, one more than is read where it is too large. Raises VisitFileError."""
    with _opened(path) as file:
        return _read(path, lambda: file.read(LARGEST_BYTES + 1))


def visit_lines(path: Path) -> Iterator[tuple[int, bytes]]:
    """Yield (line number, bytes) of every line that is not blank. Raises VisitFileError.

    A line too long for a visit is cut one byte beyond what is read, so that reading it refuses it.
    """
    with _opened(path) as file:
        line = 0
        while data := _read(path, lambda: file.readline(LARGEST_BYTES + 1)):
            line += 1
            rest = data
            while len(rest) > LARGEST_BYTES and not rest.endswith(b"\n"):
                rest = _read(path, lambda: file.readline(LARGEST_BYTES + 1))
            if data.strip():
                yield line, data
        if not line:
            raise VisitFileError(f"{told_name(path.name)}: the file is empty; one JSON object a line is needed")


def _opened(path: Path) -> BinaryIO:
    if _read(path, path.is_dir):
        raise VisitFileError(f"{told_name(path.name or str(path))}: this is a folder; a JSON file is needed")
    return _read(path, lambda: path.open("rb"))


def _read(path: Path, act: Callable[[], _T]) -> _T:
    try:
        return act()
    except (OSError, ValueError) as refusal:
        reason = getattr(refusal, "strerror", None) or "no such name"
        raise VisitFileError(f"{told_name(path.name)}: cannot be read ({reason}); a JSON file is needed") from None


def parse_visit(data: bytes, name: str) -> tuple[Visit, str | None]:
    """Return the visit and the policy it names, or None. Raises VisitFileError.

    `name` is for messages. A time without a zone is local. Either every reading has a time or none has, and the same
    holds for its arm.
    """
    place = _Place(told_name(name))
    whole = _object(_json(data, place), place, _FIELDS)
    if "readings" not in whole:
        raise VisitFileError(f"{told_name(name)}: no readings; a list of readings is needed, empty before the first")
    client, pulse = place.inside("client"), place.inside("pulse")
    told = _part(whole, "client", client, _CLIENT)
    counted = _part(whole, "pulse", pulse, ("per_min", "regular"))
    barred = _codes(told, "barred_arms", client, ARMS) or ()
    reasons = _reasons(told, client, barred)
    visit = Visit(
        readings=_readings(whole["readings"], place),
        client=Client(
            code=_text(told, "code", client),
            age=_number(told, "age", client, *AGE_YEARS),
            arm_cm=_number(told, "arm_cm", client, *TAPE_CM),
            barred_arms=barred,
            barred_reasons=reasons,
            known_disease=_codes(told, "known_disease", client, DISEASES),
            exercises_regularly=_yes(told, "exercises_regularly", client),
            cleared_within_12_months=_yes(told, "cleared_within_12_months", client),
            first_visit=_yes(told, "first_visit", client),
            pregnant=_yes(told, "pregnant", client),
            medicines=_texts(told, "medicines", client),
        ),
        consent=_yes(whole, "consent", place),
        performer=_text(whole, "performer", place),
        cuff=_text(whole, "cuff", place),
        gauge=_text(whole, "gauge", place),
        position=_text(whole, "position", place),
        intended=_one_of(whole, "intended", place, INTENDED),
        symptoms=_codes(whole, "symptoms", place, ALL_SYMPTOMS),
        today=_codes(whole, "today", place, TODAY),
        posture=_codes(whole, "posture", place, POSTURE_FAULTS),
        rested_s=_number(whole, "rested_s", place, *RESTED_S),
        palpated_mmhg=_number(whole, "palpated", place, 1, HIGHEST_MMHG),
        standing=_standing(whole, place),
        pulse=Pulse(_number(counted, "per_min", pulse, *PULSE_PER_MIN), _yes(counted, "regular", pulse)),
    )
    policy = whole.get("policy")
    if policy is not None and (not isinstance(policy, str) or not policy):
        raise place.inside("policy").refuse(policy, "the id of a policy, in quotation marks,")
    return visit, policy


def _json(data: bytes, place: _Place) -> Any:
    if len(data) > LARGEST_BYTES:
        raise place.silent(f"larger than {LARGEST_BYTES // 1_000_000} MB; a smaller file")
    if not data.strip():
        raise place.silent("the file is empty; one JSON object")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as refusal:
        line = data.count(b"\n", 0, refusal.start) + 1
        raise place.inside(f"line {line}").silent(f"byte 0x{data[refusal.start]:02x}; UTF-8 text") from None

    def once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found: dict[str, Any] = {}
        for key, value in pairs:
            if key in found:
                raise VisitFileError(f"{place.inside(_seen(key))._told} stands twice; once is allowed")
            found[key] = value
        return found

    def number(typed: str) -> float:
        # Eighteen characters hold every number in range and stay within 64 bits.
        value = float(typed) if len(typed) <= 18 else math.inf
        if not math.isfinite(value):
            raise place.refuse(typed, "a finite number of at most 18 characters")
        return value

    def whole(typed: str) -> int:
        return int(number(typed))

    try:
        return json.loads(
            text, object_pairs_hook=once, parse_float=number, parse_int=whole, parse_constant=_no_number(place)
        )
    except json.JSONDecodeError as refusal:
        where = f"line {refusal.lineno}, column {refusal.colno}"
        raise place.inside(where).silent(f"not readable as JSON ({refusal.msg}); JSON") from None
    except RecursionError:
        raise place.silent("nested too deeply; one plain JSON object") from None


def _no_number(place: _Place) -> Callable[[str], float]:
    """Return the refusal of NaN and Infinity, which JSON itself does not have."""

    def refuse(typed: str) -> float:
        raise place.refuse(typed, "a finite number")

    return refuse


def _readings(found: Any, place: _Place) -> tuple[TakenReading, ...]:
    if not isinstance(found, list):
        raise place.inside("readings").refuse(found, "a list of readings")
    if len(found) > MOST_READINGS:
        raise place.inside("readings").refuse(len(found), f"a list of at most {MOST_READINGS}")
    readings = tuple(_reading(each, place.inside(f"reading {number}")) for number, each in enumerate(found, start=1))
    seen: dict[tuple[str | None, datetime], int] = {}
    for number, reading in enumerate(readings, start=1):
        here = place.inside(f"reading {number}")
        for what, has, others in (
            ("at", reading.at is not None, [each.at is not None for each in readings]),
            ("arm", reading.arm is not None, [each.arm is not None for each in readings]),
        ):
            if not has and any(others):
                raise here.inside(what).silent(
                    f"missing, while other readings have it; {what}, in all readings or in none,"
                )
        if reading.at is not None:
            before = seen.setdefault((reading.arm, reading.at), number)
            if before != number:
                raise here.silent(f"same arm and time as reading {before}; each reading once, with its own time,")
    return readings


def _reasons(told: Mapping[str, Any], place: _Place, barred: tuple[str, ...]) -> tuple[tuple[str, str], ...]:
    given = _part(told, "barred_reasons", place.inside("barred_reasons"), ARMS)
    for arm in given:
        if arm not in barred:
            raise place.inside(f"barred_reasons, {arm}").silent("this arm is not barred; arms in barred_arms only")
    found = {arm: _one_of(given, arm, place.inside("barred_reasons"), BARRED_REASONS) for arm in given}
    return tuple((arm, reason) for arm, reason in found.items() if reason is not None)


def _standing(whole: Mapping[str, Any], place: _Place) -> tuple[StandingReading, ...]:
    found = whole.get("standing")
    if found is None:
        return ()
    if not isinstance(found, list) or len(found) > MOST_READINGS:
        raise place.inside("standing").silent(f"a list of at most {MOST_READINGS} readings")
    return tuple(_stood(each, place.inside(f"standing {number}")) for number, each in enumerate(found, start=1))


def _stood(found: Any, place: _Place) -> StandingReading:
    told = _object(found, place, _STANDING)
    after_s = _number(told, "after_s", place, *STANDING_S)
    if after_s is None:
        raise place.inside("after_s").silent(f"seconds since standing up, {STANDING_S[0]:g} to {STANDING_S[1]:g},")
    return StandingReading(after_s, *_ends(told, place))


def _reading(found: Any, place: _Place) -> TakenReading:
    told = _object(found, place, _READING)
    return TakenReading(*_ends(told, place), _one_of(told, "arm", place, ARMS), _at(told, place))


def _ends(told: Mapping[str, Any], place: _Place) -> tuple[float | None, float | None]:
    """Systolic and diastolic, each a pressure or None where it was not heard."""
    for end in ("systolic", "diastolic"):
        if end not in told:
            raise place.inside(end).silent("missing; a number, or null where it was not heard,")
    systolic = _number(told, "systolic", place, 1, HIGHEST_MMHG)
    diastolic = _number(told, "diastolic", place, 0, HIGHEST_MMHG)
    if systolic is not None and diastolic is not None and diastolic >= systolic:
        raise place.inside("diastolic").refuse(diastolic, f"a number below the systolic ({systolic:g})")
    return systolic, diastolic


def _at(told: Mapping[str, Any], place: _Place) -> datetime | None:
    found = told.get("at")
    if found is None:
        return None
    legal = f"a time such as 2026-03-02T09:30:00, from {YEARS[0]} to {YEARS[1]},"
    typed = _AT.fullmatch(found) if isinstance(found, str) else None
    if not typed or not YEARS[0] <= int(typed[1]) <= YEARS[1]:
        raise place.inside("at").refuse(found, legal)
    try:
        return datetime.fromisoformat(found).astimezone()
    except (ValueError, OverflowError):
        raise place.inside("at").refuse(found, legal) from None


def _object(found: Any, place: _Place, fields: Sequence[str]) -> dict[str, Any]:
    if not isinstance(found, dict):
        raise place.refuse(found, "an object in braces")
    for key in found:
        if key not in fields:
            raise VisitFileError(f"{place.inside(_seen(key))._told} is not known; must be one of {', '.join(fields)}")
    return found


def _part(told: Mapping[str, Any], key: str, place: _Place, fields: Sequence[str]) -> dict[str, Any]:
    found = told.get(key)
    return {} if found is None else _object(found, place, fields)


def _number(told: Mapping[str, Any], key: str, place: _Place, low: float, high: float) -> float | None:
    found = told.get(key)
    if found is None:
        return None
    if isinstance(found, bool) or not isinstance(found, int | float) or not low <= found <= high:
        raise place.inside(key).refuse(found, f"a number from {low:g} to {high:g}")
    return float(found)


def _yes(told: Mapping[str, Any], key: str, place: _Place) -> bool | None:
    found = told.get(key)
    if found is not None and not isinstance(found, bool):
        raise place.inside(key).refuse(found, "true or false")
    return found


def _text(told: Mapping[str, Any], key: str, place: _Place) -> str | None:
    found = told.get(key)
    return None if found is None else _line(found, place.inside(key))


def _line(found: Any, place: _Place) -> str:
    if not isinstance(found, str) or not 1 <= len(found.strip()) <= LONGEST_TEXT or not found.isprintable():
        raise place.silent(f"a text of 1 to {LONGEST_TEXT} printable characters")
    return found.strip()


def _texts(told: Mapping[str, Any], key: str, place: _Place) -> tuple[str, ...]:
    return _list(told, key, place, _line) or ()


def _one_of(told: Mapping[str, Any], key: str, place: _Place, allowed: Sequence[str]) -> str | None:
    found = told.get(key)
    return None if found is None else _code(found, place.inside(key), allowed)


def _code(found: Any, place: _Place, allowed: Sequence[str]) -> str:
    if not isinstance(found, str) or found not in allowed:
        raise place.refuse(found, f"one of {', '.join(allowed)}")
    return found


def _codes(told: Mapping[str, Any], key: str, place: _Place, allowed: Sequence[str]) -> tuple[str, ...] | None:
    return _list(told, key, place, lambda found, where: _code(found, where, allowed))


def _list(told: Mapping[str, Any], key: str, place: _Place, read: Callable[[Any, _Place], _T]) -> tuple[_T, ...] | None:
    found = told.get(key)
    if found is None:
        return None
    here = place.inside(key)
    if not isinstance(found, list) or len(found) > MOST_READINGS:
        raise here.silent(f"a list of at most {MOST_READINGS}, in square brackets,")
    items = tuple(read(each, here.inside(f"entry {number}")) for number, each in enumerate(found, start=1))
    if len(set(items)) < len(items):
        raise here.silent("an entry stands twice; each once")
    return items


def _seen(found: object) -> str:
    """A value as a line tells it: cut, control characters made visible, nothing of what a list or object holds."""
    if isinstance(found, list):
        return "a list"
    if isinstance(found, dict):
        return "an object"
    if isinstance(found, str):
        return shown(found)
    if isinstance(found, bool) or found is None:
        return json.dumps(found)
    return shown(f"{found:g}" if isinstance(found, float) else str(found)).strip('"')
