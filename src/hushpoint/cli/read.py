"""`hushpoint read`: what was heard in recordings, with ranges, or why it will not say."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import Any

from hushpoint.errors import BadInputError, HushpointError

CAUTION = (
    "A teaching aid: what could be heard in a recording, not a judgement of a person's health; "
    "local rules and licensed practice decide."
)
MOST_JOBS = 64
AHEAD = 4
"""Recordings handed out per process beyond the one it works on, so that memory stays bounded."""


def read_files(
    paths: list[Path], *, as_json: bool, picture: Path | None = None, jobs: int = 1, keep: Path | None = None,
    beats: bool = False,
) -> int:  # fmt: skip
    """Read every recording among files and folders; return the exit status: 2 where one could not be read."""
    from hushpoint.recording import find_recordings

    if not 1 <= jobs <= MOST_JOBS:
        raise BadInputError(f"--jobs {jobs} must be 1 to {MOST_JOBS}")
    if picture is not None and picture.exists() and not picture.is_dir():
        raise BadInputError(f"--picture {picture} is a file, must be a folder")
    done = _already(keep)
    files = [path for path in find_recordings(paths) if str(path) not in done]
    if not files and not done:
        raise BadInputError(f"{paths[0]}: no recording here; a sound file needs its .csv of cuff pressure beside it")
    status = 0
    with _kept(keep) as also, _progress(len(files)) as advance:
        for found in _results([(path, picture, beats) for path in files], jobs):
            line = json.dumps(found, ensure_ascii=False, allow_nan=False)
            print(line if as_json else in_words(found), flush=True)  # noqa: T201
            also(line)
            advance()
            status = 2 if "error" in found else status
    if not as_json:
        print(CAUTION, file=sys.stderr)  # noqa: T201
    return status


def read_one(path: Path, picture: Path | None = None, beats: bool = False) -> dict[str, Any]:
    """Return what was heard in one recording as the documented object, or `{"file", "error"}`."""
    from hushpoint.ear import listen
    from hushpoint.recording import read_recording

    try:
        recording = read_recording(path)
        sound, cuff = recording.sound, recording.pressure
        heard = listen(sound.samples, sound.rate_hz, cuff.time_s, cuff.pressure_mmhg)
        if picture is not None:
            _draw(path, picture, recording, heard)
    except HushpointError as refusal:
        return {"file": str(path), "error": str(refusal)}
    except MemoryError:
        return {"file": str(path), "error": f"{path.name}: too large for the memory of this machine"}
    return {"file": str(path), **heard_json(heard, beats=beats)}


def heard_json(heard: Any, *, beats: bool = False) -> dict[str, Any]:
    """Return what was heard as the documented JSON object."""
    found: dict[str, Any] = {
        "systolic": _verdict(heard.systolic),
        "diastolic": _verdict(heard.diastolic),
        "first_silence": _verdict(heard.first_silence),
        "pulse_per_min": _round(heard.pulse_per_min),
        "rhythm": None if heard.regular is None else ("regular" if heard.regular else "irregular"),
        "release_mmhg_per_s": _round(heard.release_mmhg_per_s, 2),
        "segments": [
            {"from": _round(one.from_mmhg), "to": _round(one.to_mmhg), "mmhg_per_s": _round(one.rate_mmhg_per_s, 2)}
            for one in heard.segments
        ],
        "gap": None if heard.gap_mmhg is None else dict(zip(("from", "to"), map(_round, heard.gap_mmhg), strict=True)),
        "phase_iv_mmhg": _round(heard.phase_iv_mmhg),
        "notes": list(heard.notes),
    }
    if beats:
        found["beats"] = [
            {
                "at_s": _round(one.at_s, 3),
                "mmhg": _round(one.mmhg, 1),
                "over_silence_db": _round(one.excess_db),
                "sounding": _round(one.sounding, 3),
            }
            for one in heard.beats
        ]
    return found


def _verdict(one: Any) -> dict[str, Any]:
    from hushpoint.measure import Heard

    if isinstance(one, Heard):
        return {
            "verdict": "heard",
            "mmhg": _round(one.mmhg),
            "low": _round(one.low_mmhg),
            "high": _round(one.high_mmhg),
        }
    return {"verdict": "withheld", "reason": one.reason}


def _round(value: float | None, places: int = 1) -> float | None:
    return None if value is None else round(float(value), places)


def in_words(found: dict[str, Any]) -> str:
    """Return one recording's answer as lines for a person."""
    if "error" in found:
        return f"{found['file']}: not read: {found['error']}"
    lines = [found["file"]]
    for end in ("systolic", "diastolic"):
        one = found[end]
        if one["verdict"] == "heard":
            lines.append(f"  {end} {one['mmhg']:.0f} mmHg, surely {one['low']:.0f} to {one['high']:.0f}")
        else:
            lines.append(f"  {end} withheld: {one['reason']}")
    more = []
    if found["pulse_per_min"] is not None:
        more.append(f"pulse {found['pulse_per_min']:.0f} a minute, {found['rhythm']}")
    if found["release_mmhg_per_s"] is not None:
        more.append(f"released at {found['release_mmhg_per_s']:.1f} mmHg/s")
    if found["gap"]:
        more.append(f"silent gap from {found['gap']['from']:.0f} to {found['gap']['to']:.0f} mmHg")
    if found["phase_iv_mmhg"] is not None:
        more.append(f"muffled from about {found['phase_iv_mmhg']:.0f} mmHg")
    if more:
        lines.append("  " + "; ".join(more))
    lines += [f"  note: {note}" for note in found["notes"]]
    return "\n".join(lines)


def _results(work: list[tuple[Path, Path | None, bool]], jobs: int) -> Iterator[dict[str, Any]]:
    """Yield results in order; with more jobs, processes work a few recordings ahead and no more."""
    if jobs == 1 or len(work) < 2:
        for one in work:
            yield read_one(*one)
        return
    from collections import deque
    from concurrent.futures import Future, ProcessPoolExecutor
    from concurrent.futures.process import BrokenProcessPool
    from multiprocessing import get_context

    left = iter(work)
    with ProcessPoolExecutor(jobs, mp_context=get_context("spawn")) as pool:
        waiting: deque[tuple[Path, Future[dict[str, Any]]]] = deque()
        for one in islice(left, jobs * AHEAD):
            waiting.append((one[0], pool.submit(read_one, *one)))
        while waiting:
            path, future = waiting.popleft()
            try:
                yield future.result()
            except BrokenProcessPool:
                raise BadInputError(
                    f"{path}: a process was ended from outside; run again with --keep to go on from here"
                ) from None
            for one in islice(left, 1):
                waiting.append((one[0], pool.submit(read_one, *one)))


def _already(keep: Path | None) -> set[str]:
    """Return the files whose results are already kept; a last line cut short by a stop is not one of them."""
    if keep is None or not keep.exists():
        return set()
    done = set()
    try:
        for line in keep.read_text(encoding="utf-8").splitlines():
            try:
                done.add(str(json.loads(line)["file"]))
            except (ValueError, KeyError, TypeError):
                continue
    except (OSError, UnicodeDecodeError):
        raise BadInputError(f"--keep {keep}: not a file of results that can be read") from None
    return done


@contextmanager
def _kept(keep: Path | None) -> Iterator[Callable[[str], None]]:
    if keep is None:
        yield lambda line: None
        return
    try:
        whole = not keep.exists() or keep.read_bytes()[-1:] in {b"", b"\n"}
        file = keep.open("a", encoding="utf-8")
    except OSError:
        raise BadInputError(f"--keep {keep}: cannot be written") from None
    with file:
        if not whole:
            file.write("\n")

        def also(line: str) -> None:
            file.write(line + "\n")
            file.flush()

        yield also


@contextmanager
def _progress(count: int) -> Iterator[Callable[[], None]]:
    if count < 2 or not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TimeRemainingColumn

    columns: Iterable[Any] = (BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task("reading", total=count)
        yield lambda: bar.advance(task)


def _draw(path: Path, folder: Path, recording: Any, heard: Any) -> None:
    from hushpoint.sheet.reading_picture import reading_picture

    image = reading_picture(
        recording.sound.samples,
        recording.sound.rate_hz,
        recording.pressure.time_s,
        recording.pressure.pressure_mmhg,
        heard,
        title=path.stem,
    )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{path.stem}.png").write_bytes(image)
    except OSError:
        raise BadInputError(f"--picture {folder}: cannot be written") from None
