"""Recordings: taken in, listened to, kept as measurements, read by observers, erased.

The files of a kept recording lie in the data folder, named by its random id; the journal holds their digests, what the
ear said and what observers wrote. A recording taken in and not kept lies apart and goes by itself. A kept one is never
altered: a newer reading of it is a further row.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import secrets
import shutil
import threading
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

from hushpoint import __version__
from hushpoint.agreement import PairedReading
from hushpoint.desk.classes import clean_name
from hushpoint.desk.heard_json import end_told, heard_json
from hushpoint.desk.live import checked_mmhg
from hushpoint.errors import AlreadyDoneError, BadInputError, NotFoundError
from hushpoint.ledger.records import AlreadyStoredError, Entry, Kind, Ledger, Row
from hushpoint.measure import Withheld, stated
from hushpoint.recording import Recording, read_recording

SOUND_KINDS = (".wav", ".flac", ".ogg")
ONE_FILE = ".edf"
LONGEST_S = 900.0
"""The longest recording a page takes [s]: one measurement is over in a few minutes (design choice)."""
UNKEPT_S = 3600
MOST_UNKEPT = 12
"""Recordings that wait to be kept, and how long [s] (design choice)."""
MOST_READ_AGAIN = 50
NEEDLE_HZ = 50
"""A cuff's pulse holds nothing above 10 Hz (as in the ear)."""
FEWEST_TO_SHIFT = 6
SAME_CLOCK_S = 0.1
EAR = "ear"
_ID = re.compile("[0-9a-f]{20}")
_OBSERVER = re.compile("[A-Z0-9]{1,6}")
_STEM = "recording"
_ANSWER = "answer.json"
_KINDS = (Kind.RECORDING_KEPT, Kind.RECORDING_READ, Kind.RECORDING_OBSERVED)
_LISTENING = threading.Lock()
"""One recording is listened to at a time, so that memory stays bounded."""


@dataclass(frozen=True, slots=True)
class Observed:
    """What one observer wrote of a kept recording [mmHg]; None where not heard. `row` is its journal row."""

    observer: str
    systolic_mmhg: int | None
    diastolic_mmhg: int | None
    answer_seen: bool
    row: int
    corrected: bool = False


@dataclass(frozen=True, slots=True)
class ReadBy:
    """One reading by the ear: which version, when, and its answer as in docs/ear.md with every beat."""

    version: str
    at: str
    answer: Mapping[str, Any]


@dataclass(slots=True)
class Held:
    """A recording that is here. `kept_at` is "" while it is not kept; of the ear's readings the last one counts."""

    id: str
    kind: str
    label: str = ""
    kept_at: str = ""
    seconds: float = 0.0
    sha256: Mapping[str, str] = field(default_factory=dict)
    read: list[ReadBy] = field(default_factory=list)
    observed: dict[str, Observed] = field(default_factory=dict)

    @property
    def answer(self) -> Mapping[str, Any]:
        """What the ear said last."""
        return self.read[-1].answer


class RecordingFiles:
    """Where the files lie: `recordings` and `recordings-unkept` of the data folder, made when needed, mode 0700."""

    def __init__(self, data_dir: Path) -> None:
        self.kept = data_dir / "recordings"
        self.unkept = data_dir / "recordings-unkept"

    def path(self, held: Held) -> Path:
        """Return the file that holds the sound (of an EDF all); raises NotFoundError where it is not as it was kept."""
        if not held.kept_at:
            return self.unkept / held.id / f"{_STEM}{held.kind}"
        for kind, digest in held.sha256.items():
            path = self.kept / f"{held.id}{kind}"
            if not path.is_file():
                raise NotFoundError("The files of this recording are not on this machine; its readings are.")
            if _digest(path) != digest:
                raise NotFoundError("The files of this recording are not as they were kept: nothing is read from them.")
        return self.kept / f"{held.id}{held.kind}"

    def sweep(self) -> None:
        """Let go of what was not kept: too old, or too many."""
        if not self.unkept.is_dir():
            return
        found = sorted(self.unkept.iterdir(), key=_changed, reverse=True)
        for place, folder in enumerate(found):
            if place >= MOST_UNKEPT or _changed(folder) < time.time() - UNKEPT_S:
                shutil.rmtree(folder, ignore_errors=True)


def bring_in(files: RecordingFiles, name: str, sound: BinaryIO, pressure: BinaryIO | None) -> str:
    """Take in a sound file with its pressure CSV, or one EDF; listen to it; return its id. Nothing is kept yet.

    `name` tells the kind by its ending and is not stored. Raises BadInputError, one line, and leaves nothing behind.
    """
    kind = Path(name).suffix.lower()
    if kind not in (*SOUND_KINDS, ONE_FILE):
        raise BadInputError(f"the recording: must be a file of kind {', '.join((*SOUND_KINDS, ONE_FILE))}")
    if kind == ONE_FILE and pressure is not None:
        raise BadInputError("the pressure: an EDF file holds its own; leave the CSV out")
    if kind != ONE_FILE and pressure is None:
        raise BadInputError("the pressure: choose the CSV with the cuff pressure too (time_s,pressure_mmHg)")
    files.sweep()
    recording = secrets.token_hex(10)
    with _refused_by_disk(files.unkept):
        files.unkept.mkdir(parents=True, exist_ok=True, mode=0o700)
        folder = files.unkept / f"{recording}.part"
        folder.mkdir(mode=0o700)
    try:
        with _refused_by_disk(files.unkept):
            _copy(sound, folder / f"{_STEM}{kind}")
            if pressure is not None:
                _copy(pressure, folder / f"{_STEM}.csv")
        found, answer = listened(folder / f"{_STEM}{kind}")
        told = {"answer": answer, "seconds": _seconds(found)}
        with _refused_by_disk(files.unkept):
            (folder / _ANSWER).write_text(json.dumps(told, allow_nan=False), encoding="utf-8")
            folder.rename(files.unkept / recording)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return recording


def listened(path: Path) -> tuple[Recording, dict[str, Any]]:
    """Return a recording's samples, and what the ear hears in them as in docs/ear.md with every beat."""
    from hushpoint.ear import listen

    with _LISTENING:
        try:
            found = read_recording(path)
            if _seconds(found) > LONGEST_S:
                raise BadInputError(
                    f"{path.name}: {_seconds(found):.0f} s, must be {LONGEST_S:.0f} s or less here; "
                    "hushpoint read takes up to an hour"
                )
            sound, cuff = found.sound, found.pressure
            heard = listen(sound.samples, sound.rate_hz, cuff.time_s, cuff.pressure_mmhg)
        except MemoryError:
            raise BadInputError(f"{path.name}: too large for the memory of this machine") from None
    return found, heard_json(heard, beats=True)


def find(ledger: Ledger, files: RecordingFiles, recording: str) -> Held:
    """Return a recording, kept or not; raises NotFoundError."""
    if _ID.fullmatch(recording):
        kept = _folded(ledger.rows(kinds=_KINDS, who=recording))
        if kept:
            return kept[0]
        unkept = _unkept(files, recording)
        if unkept is not None:
            return unkept
    raise NotFoundError("No such recording here. One that is not kept is let go after an hour; take it in again.")


def all_kept(ledger: Ledger) -> list[Held]:
    """Return every kept recording, newest first."""
    return _folded(ledger.rows(kinds=_KINDS))[::-1]


def keep(ledger: Ledger, files: RecordingFiles, recording: str, *, label: str) -> None:
    """Keep a recording as a measurement under a label; its files are whole on disk before the journal says so."""
    held = find(ledger, files, recording)
    if held.kept_at:
        raise AlreadyDoneError("This recording is kept already.")
    label = clean_name(label, "label")
    kinds = (held.kind,) if held.kind == ONE_FILE else (held.kind, ".csv")
    done: list[Path] = []
    try:
        with _refused_by_disk(files.kept):
            files.kept.mkdir(parents=True, exist_ok=True, mode=0o700)
            for kind in kinds:
                target = files.kept / f"{held.id}{kind}"
                with (files.unkept / held.id / f"{_STEM}{kind}").open("rb") as source:
                    done.append(target)
                    _copy(source, target)
        digests = {kind: _digest(path) for kind, path in zip(kinds, done, strict=True)}
        body = {"label": label, "kind": held.kind, "seconds": held.seconds, "sha256": digests}
        kept = Entry(Kind.RECORDING_KEPT, body, who=held.id, ref=held.id)
        ledger.append(kept, _read_entry(held.id, held.answer))
    except AlreadyStoredError:
        raise AlreadyDoneError("This recording is kept already.") from None
    except BaseException:
        for path in done:
            path.unlink(missing_ok=True)
        raise
    shutil.rmtree(files.unkept / held.id, ignore_errors=True)


def read_again(ledger: Ledger, files: RecordingFiles, recording: str) -> None:
    """Read a kept recording with the ear as it is now; a further row unless it said the same before."""
    held = _kept(ledger, files, recording)
    if len(held.read) >= MOST_READ_AGAIN:
        raise AlreadyDoneError(f"This recording was read {len(held.read)} times; no more are kept.")
    _, answer = listened(files.path(held))
    try:
        ledger.append(_read_entry(held.id, answer))
    except AlreadyStoredError:
        raise AlreadyDoneError(f"Version {__version__} has read it before and says the same.") from None


def observe(
    ledger: Ledger, files: RecordingFiles, recording: str, *, observer: str, systolic: int | None,
    diastolic: int | None, answer_seen: bool, why: str = "",
) -> None:  # fmt: skip
    """Add what one observer heard in a kept recording; with `why` it corrects what the same observer wrote before.

    `observer` is a short code, never a name. Raises BadInputError, AlreadyDoneError.
    """
    held = _kept(ledger, files, recording)
    code = observer.strip().upper()
    if not _OBSERVER.fullmatch(code) or code == EAR.upper():
        raise BadInputError('observer: must be a code of 1 to 6 letters and digits, not a name, and not "EAR"')
    systolic, diastolic = checked_mmhg(systolic, "systolic"), checked_mmhg(diastolic, "diastolic")
    if systolic is not None and diastolic is not None and diastolic > systolic:
        raise BadInputError(f"diastolic {diastolic} is above systolic {systolic}: swap them")
    before = held.observed.get(code)
    if before is not None and not why.strip():
        raise AlreadyDoneError(f"{code} has a reading of this recording. To correct it, say why.")
    body = {
        "observer": code,
        "systolic": systolic,
        "diastolic": diastolic,
        "answer_seen": answer_seen,
        "corrects": before.row if before else None,
        "why": clean_name(why, "why") if before else "",
    }
    try:
        ref = f"{held.id}:{code}:{before.row if before else 0}"
        ledger.append(Entry(Kind.RECORDING_OBSERVED, body, who=held.id, ref=ref))
    except AlreadyStoredError:
        raise AlreadyDoneError(f"{code} has a reading of this recording. To correct it, say why.") from None


def erase(ledger: Ledger, files: RecordingFiles, recording: str, *, why: str) -> None:
    """Delete a recording's files and erase what the journal says of it. One that is not kept goes without a trace."""
    held = find(ledger, files, recording)
    if not held.kept_at:
        shutil.rmtree(files.unkept / held.id, ignore_errors=True)
        return
    why = clean_name(why, "why")
    if held.label.casefold() in why.casefold():
        raise BadInputError("why: leave the label out; the reason stays when the rest is erased")
    with _refused_by_disk(files.kept):
        for kind in held.sha256:
            (files.kept / f"{held.id}{kind}").unlink(missing_ok=True)
    ledger.erase(held.id, why=why)


def paired(kept: Sequence[Held]) -> list[PairedReading]:
    """Return every observer's readings with the ear's as one observer more; what has no systolic is left out."""
    readings = []
    for held in reversed(kept):
        mine = [(one.observer, one.systolic_mmhg, one.diastolic_mmhg) for one in held.observed.values()]
        ear = (held.answer[end].get("mmhg") for end in ("systolic", "diastolic"))
        for observer, systolic, diastolic in (*mine, (EAR, *ear)):
            if systolic is not None:
                readings.append(PairedReading(held.id, observer, systolic, diastolic))
    return readings


def needle(path: Path, answer: Mapping[str, Any]) -> dict[str, list[float]]:
    """Return the cuff pressure for a needle that moves with the sound: `time_s` on the sound's clock, `mmhg`.

    At most NEEDLE_HZ a second; what was no pressure is left out. Where the ear put the two clocks right, its beats
    stand on the sound's clock with the cuff's line: the same shift and drift are found from them.
    """
    import numpy as np

    cuff = read_recording(path).pressure
    there = np.isfinite(cuff.pressure_mmhg)
    time_s, mmhg = cuff.time_s[there], cuff.pressure_mmhg[there]
    steps = np.floor((time_s - time_s[0]) * NEEDLE_HZ)
    first = np.concatenate([[True], np.diff(steps) > 0])
    moved = time_s[first] + _shift(cuff.time_s, cuff.pressure_mmhg, answer)(time_s[first])
    return {"time_s": np.round(moved, 3).tolist(), "mmhg": np.round(mmhg[first], 2).tolist()}


def _shift(time_s: Any, pressure_mmhg: Any, answer: Mapping[str, Any]) -> Any:
    """Return how much later [s] the sound's clock stands at times of the pressure's clock."""
    import numpy as np

    from hushpoint.ear.release import cuff_of

    beats, cuff = answer["beats"], cuff_of(time_s, pressure_mmhg)
    if len(beats) < FEWEST_TO_SHIFT or isinstance(cuff, str):
        return np.zeros_like
    inside = (cuff.time_s >= cuff.from_s) & (cuff.time_s <= cuff.to_s)
    line = np.minimum.accumulate(cuff.line_mmhg[inside])
    at = np.array([one["at_s"] for one in beats])
    own = np.interp([-one["mmhg"] for one in beats], -line, cuff.time_s[inside])
    apart = np.polyfit(own, at - own, 1)
    if np.abs(np.polyval(apart, own)).max() < SAME_CLOCK_S:
        return np.zeros_like
    return lambda times: np.polyval(apart, times)


def beside_words(end: str, answer: Mapping[str, Any], mmhg: int | None) -> str:
    """Say how a human's end stands beside the ear's."""
    told = end_told(answer)
    if isinstance(told, Withheld):
        yours = "not heard" if mmhg is None else f"{mmhg}"
        return f"{end}: yours {yours}; the ear withheld it, so nothing is compared."
    if mmhg is None:
        return f"{end}: yours not heard; the ear heard it at {told.mmhg:.1f}."
    apart = stated(mmhg - told.mmhg)
    inside = "inside" if told.low_mmhg <= mmhg <= told.high_mmhg else "outside"
    side = f"{abs(apart):.1f} above" if apart > 0 else f"{abs(apart):.1f} below" if apart < 0 else "the same as"
    return f"{end}: yours {mmhg} is {side} the ear's {told.mmhg:.1f}, {inside} its range."


def _read_entry(recording: str, answer: Mapping[str, Any]) -> Entry:
    said = hashlib.sha256(json.dumps([__version__, answer], sort_keys=True).encode()).hexdigest()[:16]
    body = {"version": __version__, "answer": answer}
    return Entry(Kind.RECORDING_READ, body, who=recording, ref=f"{recording}:{said}")


def _kept(ledger: Ledger, files: RecordingFiles, recording: str) -> Held:
    held = find(ledger, files, recording)
    if not held.kept_at:
        raise BadInputError("the recording: is not kept yet; keep it first")
    return held


def _folded(rows: Iterator[Row]) -> list[Held]:
    """Fold rows into recordings, in the order they were kept; erased ones have no body and are passed over."""
    found: dict[str, Held] = {}
    for row in rows:
        body = row.body
        if body is None:
            continue
        if row.kind is Kind.RECORDING_KEPT:
            found[row.who] = Held(row.who, body["kind"], body["label"], row.at, body["seconds"], body["sha256"])
        elif row.kind is Kind.RECORDING_READ:
            found[row.who].read.append(ReadBy(body["version"], row.at, body["answer"]))
        else:
            found[row.who].observed[body["observer"]] = Observed(
                body["observer"], body["systolic"], body["diastolic"], body["answer_seen"], row.seq,
                corrected=body["corrects"] is not None,
            )  # fmt: skip
    return list(found.values())


def _unkept(files: RecordingFiles, recording: str) -> Held | None:
    folder = files.unkept / recording
    try:
        told = json.loads((folder / _ANSWER).read_text(encoding="utf-8"))
        kind = next(one.suffix for one in folder.iterdir() if one.stem == _STEM and one.suffix != ".csv")
    except (OSError, ValueError, StopIteration):
        return None
    return Held(recording, kind, seconds=told["seconds"], read=[ReadBy(__version__, "", told["answer"])])


def _seconds(found: Recording) -> float:
    """Return how long a recording is, sound or pressure, whichever is longer [s]."""
    cuff = found.pressure.time_s
    longest = max(len(found.sound.samples) / found.sound.rate_hz, float(cuff[-1] - cuff[0]))
    return math.ceil(longest * 10) / 10


def _copy(source: BinaryIO, path: Path) -> None:
    """Write a new file, mode 0600, and see it on disk."""
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(handle, "wb") as target:
        shutil.copyfileobj(source, target, 1 << 20)
        target.flush()
        os.fsync(target.fileno())


def _digest(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _changed(path: Path) -> float:
    with suppress(OSError):
        return path.stat().st_mtime
    return 0.0


@contextmanager
def _refused_by_disk(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as trouble:
        raise BadInputError(f"the folder {folder.name}: {trouble.strerror}; nothing was kept") from None
