"""`hushpoint read`: what was heard in recordings, with ranges, or why it will not say."""

from __future__ import annotations

import json
import re
import sys
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING, Any

from hushpoint.cli.told import note, tell
from hushpoint.cli.whole_file import ANYBODYS, whole_file
from hushpoint.errors import BadInputError, HushpointError

if TYPE_CHECKING:
    from concurrent.futures import Future
    from concurrent.futures.process import ProcessPoolExecutor

Work = tuple[Path, Path | None, bool, str]
"""What `read_one` is called with."""

CAUTION = (
    "A teaching aid: what could be heard in a recording, not a judgement of a person's health; "
    "local rules and licensed practice decide."
)
ENDS = ("systolic", "diastolic")
FORMS = ("png", "svg", "pdf")
MOST_JOBS = 64
AHEAD = 4
"""Recordings handed out per process beyond the one it works on, so that memory stays bounded."""
RESULT = b'{"file": '
"""How a line of results begins."""
TRIES = 2
ADDRESS = re.compile(r"(tcp|tls|ws|wss)://[^/\s]+:\d{1,5}")
SCHEDULER_S = 10
"""How long a scheduler, or the first of its workers, is waited for [s]."""


def read_files(
    paths: list[Path], *, as_json: bool, picture: Path | None = None, jobs: int = 1, keep: Path | None = None,
    beats: bool = False, form: str = "png", graded: bool = False, scheduler: str | None = None,
) -> int:  # fmt: skip
    """Read every recording among files and folders; return the exit status: 2 where one could not be read."""
    from hushpoint.recording import find_recordings

    if not 1 <= jobs <= MOST_JOBS:
        raise BadInputError(f"--jobs {jobs} must be 1 to {MOST_JOBS}")
    if scheduler is not None and jobs != 1:
        raise BadInputError(
            "--jobs is for processes of this machine, --scheduler has workers of its own: leave one out"
        )
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
        work: list[Work] = [(path, picture, beats, form) for path in files]
        for found in _results(work, jobs) if scheduler is None else _on_scheduler(work, scheduler):
            line = json.dumps(found, ensure_ascii=False, allow_nan=False)
            also(line)
            if as_json:
                print(line, flush=True)  # noqa: T201
            else:
                tell(in_words(found), flush=True)
            advance()
            status = 2 if "error" in found else status
            if graded:
                results.append(found)
    if graded:
        _grade(results, as_json=as_json, picture=picture)
    if not as_json:
        note(CAUTION)
    return status


def read_one(path: Path, picture: Path | None = None, beats: bool = False, form: str = "png") -> dict[str, Any]:
    """Return what was heard in one recording as the documented object, or `{"file", "error"}`."""
    from hushpoint.desk.heard_json import heard_json
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


def _results(work: list[Work], jobs: int) -> Iterator[dict[str, Any]]:
    """Yield results in order; with more jobs, processes work a few recordings ahead and no more."""
    if jobs == 1 or len(work) < 2:
        for one in work:
            yield read_one(*one)
        return
    left = iter(work)
    waiting: deque[tuple[Work, Future[dict[str, Any]]]] = deque()
    while True:
        with _processes(jobs) as pool:
            for one in islice(left, jobs * AHEAD):
                waiting.append((one, _submitted(pool, one)))
            while waiting and not _broken(waiting[0][1]):
                yield waiting.popleft()[1].result()
                for one in islice(left, 1):
                    waiting.append((one, _submitted(pool, one)))
        if not waiting:
            return
        again = [one for one, future in waiting if _broken(future)]
        note(f"a process ended before it had answered; {len(again)} recordings in hand are read again, one by one")
        one_by_one = _one_by_one(again)
        for _, future in waiting:
            yield next(one_by_one) if _broken(future) else future.result()
        waiting.clear()


def _processes(count: int) -> ProcessPoolExecutor:
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    return ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=_end_with_parent)


def _end_with_parent() -> None:
    """End this process when the one that started it has ended, however that came about: nobody waits for it."""
    import os
    import threading
    from multiprocessing import parent_process

    parent = parent_process()
    if parent is not None:

        def watch() -> None:
            parent.join()
            os._exit(1)

        threading.Thread(target=watch, daemon=True).start()


def _submitted(pool: ProcessPoolExecutor, one: Work) -> Future[dict[str, Any]]:
    """Hand out a recording; where the pool is broken already, the future says so like those handed out before."""
    from concurrent.futures import BrokenExecutor, Future

    try:
        return pool.submit(read_one, *one)
    except BrokenExecutor as broken:
        never: Future[dict[str, Any]] = Future()
        never.set_exception(broken)
        return never


def _broken(future: Future[dict[str, Any]]) -> bool:
    """Wait for a result; tell whether its process ended instead."""
    from concurrent.futures import BrokenExecutor

    return isinstance(future.exception(), BrokenExecutor)


def _one_by_one(work: list[Work]) -> Iterator[dict[str, Any]]:
    """Yield results with one recording in hand at a time, so that one that ends its process is known by name."""
    pool = _processes(1)
    try:
        for one in work:
            for _ in range(TRIES):
                future = _submitted(pool, one)
                if not _broken(future):
                    yield future.result()
                    break
                pool.shutdown()
                pool = _processes(1)
            else:
                why = f"{one[0].name}: its process ended {TRIES} times before it had answered"
                yield {"file": str(one[0]), "error": why}
    finally:
        pool.shutdown()


def _on_scheduler(work: list[Work], address: str) -> Iterator[dict[str, Any]]:
    """Yield results in order, worked out on the workers of a Dask scheduler, a few recordings ahead for each thread.

    A recording whose worker is lost is handed to another by the scheduler; each is answered here once.
    """
    try:
        from distributed import Client
        from distributed.scheduler import KilledWorker
    except ImportError:
        raise BadInputError("--scheduler needs the extra: pip install 'hushpoint[dask]'") from None
    import logging

    if not ADDRESS.fullmatch(address):
        raise BadInputError(f"--scheduler {address}: must be an address such as tcp://HOST:8786")
    logging.getLogger("distributed").setLevel(logging.CRITICAL)
    try:
        connected: Any = Client
        with connected(address, timeout=SCHEDULER_S, set_as_default=False) as client:
            client.wait_for_workers(1, timeout=SCHEDULER_S)
            ahead = AHEAD * sum(client.nthreads().values())
            left = iter(work)
            waiting: deque[tuple[Work, Any]] = deque()
            for one in islice(left, ahead):
                waiting.append((one, _handed(client, one)))
            while waiting:
                one, future = waiting.popleft()
                try:
                    yield {**future.result(), "file": str(one[0])}
                except KilledWorker:
                    why = f"{one[0].name}: its worker was lost each time before it had answered"
                    yield {"file": str(one[0]), "error": why}
                for further in islice(left, 1):
                    waiting.append((further, _handed(client, further)))
    except (ImportError, AttributeError):
        raise BadInputError(f"--scheduler {address}: its workers need the same Hushpoint as this machine") from None
    except (OSError, ValueError, CancelledError):
        raise BadInputError(
            f"--scheduler {address}: no scheduler with a worker answers there; start one, then run again "
            "(with --keep it goes on from here)"
        ) from None


def _handed(client: Any, one: Work) -> Any:
    """Hand a recording to the scheduler: by whole paths, since a worker stands in a folder of its own."""
    path, picture, beats, form = one
    return client.submit(read_one, path.resolve(), picture and picture.resolve(), beats, form, pure=False)


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


def _mend(keep: Path) -> None:
    """Take out a last result that a stop cut short; any other last line gets its end of line."""
    data = keep.read_bytes() if keep.exists() else b""
    last = data[data.rfind(b"\n") + 1 :]
    if not last:
        return
    try:
        json.loads(last)
        cut = False
    except ValueError:
        cut = last.startswith(RESULT) or RESULT.startswith(last)
    with keep.open("r+b") as file:
        file.seek(len(data))
        if cut:
            file.truncate(len(data) - len(last))
        else:
            file.write(b"\n")


@contextmanager
def _kept(keep: Path | None) -> Iterator[Callable[[str], None]]:
    if keep is None:
        yield lambda line: None
        return
    try:
        _mend(keep)
        file = keep.open("a", encoding="utf-8")
    except OSError:
        raise BadInputError(f"--keep {keep}: cannot be written") from None
    with file:

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
    except OSError as trouble:
        raise BadInputError(f"--picture {folder}: cannot be written: {trouble.strerror}") from None
    whole_file(folder / f"{path.stem}.{form}", image, ANYBODYS)


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
        tell("\n".join(line for end, one in grades.items() for line in _grade_lines(end, one)))
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
    whole_file(folder / "differences.png", agreement_picture(agree(readings, reference="truth"), "png"), ANYBODYS)
