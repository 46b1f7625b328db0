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
ENDS = ("systolic", "diastolic")
FORMS = ("png", "svg", "pdf")
MOST_JOBS = 64
AHEAD = 4
"""Recordings handed out per process beyond the one it works on, so that memory stays bounded."""


def read_files(
    paths: list[Path], *, as_json: bool, picture: Path | None = None, jobs: int = 1, keep: Path | None = None,
    beats: bool = False, form: str = "png", graded: bool = False,
) -> int:  # fmt: skip
    """Read every recording among files and folders; return the exit status: 2 where one could not be read."""
    from hushpoint.recording import find_recordings

    if not 1 <= jobs <= MOST_JOBS:
        raise BadInputError(f"--jobs {jobs} must be 1 to {MOST_JOBS}")
    if picture is not None and picture.exists() and not picture.is_dir():
        raise BadInputError(f"--picture {picture} is a file, must be a folder")
    if form not in FORMS:
        raise BadInputError(f"--form {form} must be one of: {', '.join(FORMS)}")
    before = _already(keep)
    every = list(find_recordings(paths))
    files = [path for path in every if str(path) not in before]
    if not every:
        raise BadInputError(f"{paths[0]}: no recording here; a sound file needs its .csv of cuff pressure beside it")
    status = 0
    results = [before[str(path)] for path in every if str(path) in before]
    with _kept(keep) as also, _progress(len(files)) as advance:
        for found in _results([(path, picture, beats, form) for path in files], jobs):
            line = json.dumps(found, ensure_ascii=False, allow_nan=False)
            print(line if as_json else in_words(found), flush=True)  # noqa: T201
            also(line)
            advance()
            status = 2 if "error" in found else status
            if graded:
                results.append(found)
    if graded:
        _grade(results, as_json=as_json, picture=picture)
    if not as_json:
        print(CAUTION, file=sys.stderr)  # noqa: T201
    return status


def read_one(path: Path, picture: Path | None = None, beats: bool = False, form: str = "png") -> dict[str, Any]:
    """Return what was heard in one recording as the documented object, or `{"file", "error"}`."""
    from hushpoint.ear import listen
    from hushpoint.recording import read_recording

    try:
        recording = read_recording(path)
        sound, cuff = recording.sound, recording.pressure
        heard = listen(sound.samples, sound.rate_hz, cuff.time_s, cuff.pressure_mmhg)
        if picture is not None:
            _draw(path, picture, recording, heard, form)
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
            lines.append(f"  {end} {one['mmhg']:.0f} mmHg (range {one['low']:.0f} to {one['high']:.0f})")
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


def _results(work: list[tuple[Path, Path | None, bool, str]], jobs: int) -> Iterator[dict[str, Any]]:
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


def _already(keep: Path | None) -> dict[str, dict[str, Any]]:
    """Return the results already kept, by file; a last line cut short by a stop is not one of them."""
    if keep is None or not keep.exists():
        return {}
    done = {}
    try:
        for line in keep.read_text(encoding="utf-8").splitlines():
            try:
                found = json.loads(line)
                done[str(found["file"])] = found
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


def _draw(path: Path, folder: Path, recording: Any, heard: Any, form: Any) -> None:
    from hushpoint.sheet.reading_picture import reading_picture

    image = reading_picture(
        recording.sound.samples,
        recording.sound.rate_hz,
        recording.pressure.time_s,
        recording.pressure.pressure_mmhg,
        heard,
        title=path.stem,
        form=form,
    )
    try:
        folder.mkdir(parents=True, exist_ok=True)
        (folder / f"{path.stem}.{form}").write_bytes(image)
    except OSError:
        raise BadInputError(f"--picture {folder}: cannot be written") from None


def _grade(results: list[dict[str, Any]], *, as_json: bool, picture: Path | None) -> None:
    """Print how the answers stand against the truths beside the files; with a folder, draw the differences."""
    from dataclasses import asdict

    from hushpoint.ear.standards import grade

    truths = [(found, _truth(Path(found["file"]))) for found in results if "error" not in found]
    known = [(found, truth) for found, truth in truths if truth is not None]
    if not known:
        raise BadInputError(
            "--grade: no truth beside these recordings; NAME.json must hold systolic_mmhg, diastolic_mmhg"
        )
    grades = {end: grade([_row(found[end], truth[f"{end}_mmhg"]) for found, truth in known]) for end in ENDS}
    if as_json:
        print(json.dumps({"grade": {end: asdict(one) for end, one in grades.items()}}))  # noqa: T201
    else:
        print("\n".join(line for end, one in grades.items() for line in _grade_lines(end, one)))  # noqa: T201
    if picture is not None:
        _draw_differences(known, picture)


def _truth(path: Path) -> dict[str, Any] | None:
    """Return the truth beside a recording: numbers, or null where nothing could be heard; None without one."""
    beside = path.with_suffix(".json")
    if not beside.is_file():
        return None
    try:
        truth = json.loads(beside.read_text(encoding="utf-8"))
        values = {f"{end}_mmhg": truth[f"{end}_mmhg"] for end in ENDS}
        return {key: None if value is None else float(value) for key, value in values.items()}
    except (OSError, ValueError, KeyError, TypeError):
        raise BadInputError(
            f"{beside.name}: must be JSON with systolic_mmhg and diastolic_mmhg, a number or null"
        ) from None


def _row(answer: dict[str, Any], truth: float | None) -> tuple[float | None, float | None, bool]:
    if answer["verdict"] != "heard":
        return truth, None, False
    return truth, answer["mmhg"], truth is not None and answer["low"] <= truth <= answer["high"]


def _grade_lines(end: str, one: Any) -> list[str]:
    def percent(part: int, whole: int) -> str:
        return f"{100 * part / whole:.1f} %" if whole else "none"

    lines = [
        f"{end}: {one.n} with a truth, {one.n - one.heard} withheld ({percent(one.n - one.heard, one.n)}), "
        f"{one.wrong} given and more than 5 mmHg off ({percent(one.wrong, one.n)})",
        f"  {one.unreadable} without a truth, {one.guessed} given all the same",
    ]
    if one.sd_mmhg is not None:
        met = {True: "met", False: "not met"}
        lines += [
            f"  mean {one.mean_mmhg:+.2f}, SD {one.sd_mmhg:.2f} mmHg; within 5, 10, 15: "
            + ", ".join(f"{share:.1f} %" for share in one.within_percent)
            + f"; ranges that hold the truth {one.in_range_percent:.1f} %",
            f"  ISO 81060-2 criterion 1 {met[one.criterion_1]}; criterion 2 {met[one.criterion_2]} (SD at most "
            f"{one.criterion_2_limit_mmhg:.2f}, each recording taken as one subject); BHS grade {one.bhs}",
        ]
    return lines


def _draw_differences(known: list[tuple[dict[str, Any], dict[str, Any]]], folder: Path) -> None:
    from hushpoint.agreement import PairedReading, agree
    from hushpoint.sheet.agreement_picture import agreement_picture

    readings = []
    for found, truth in known:
        given = {end: found[end].get("mmhg") for end in ENDS}
        if given["systolic"] is None or truth["systolic_mmhg"] is None:
            continue
        both = given["diastolic"] is not None and truth["diastolic_mmhg"] is not None
        readings += [
            PairedReading(found["file"], "ear", given["systolic"], given["diastolic"] if both else None),
            PairedReading(found["file"], "truth", truth["systolic_mmhg"], truth["diastolic_mmhg"] if both else None),
        ]
    if not readings:
        return
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "differences.png").write_bytes(agreement_picture(agree(readings, reference="truth"), "png"))
