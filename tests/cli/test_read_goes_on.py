"""`hushpoint read` when what it runs on is killed: every file answered exactly once, whoever ended."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from serving import free_port

PROGRAM = Path(sys.executable).with_name("hushpoint")
COUNT = 30


def hushpoint(*words: object) -> subprocess.CompletedProcess[str]:
    """Run it to its end."""
    return subprocess.run([PROGRAM, *map(str, words)], capture_output=True, text=True, check=False)


def begun(*words: object) -> subprocess.Popen[str]:
    """Start it and leave it running."""
    return subprocess.Popen([PROGRAM, *map(str, words)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One rendered recording under thirty names."""
    folder = tmp_path_factory.mktemp("many")
    assert hushpoint("render", "--seed", 40, "--out", folder).returncode == 0
    sound = next(folder.glob("*.wav"))
    for number in range(COUNT):
        for kind in (".wav", ".csv"):
            os.link(sound.with_suffix(kind), folder / f"copy-{number:02d}{kind}")
    for kind in (".wav", ".csv", ".json"):
        sound.with_suffix(kind).unlink()
    return folder


@pytest.fixture(scope="module")
def one_answer(many: Path) -> dict[str, object]:
    """What is heard in each of them."""
    found = json.loads(hushpoint("read", many / "copy-00.wav", "--json").stdout)
    return {key: value for key, value in found.items() if key != "file"}


def answered_once(lines: list[str], many: Path, one_answer: dict[str, object]) -> None:
    """Every file has one line, in order, and on it what is heard there."""
    found = [json.loads(line) for line in lines]
    assert [one.pop("file") for one in found] == [str(path) for path in sorted(many.glob("*.wav"))]
    assert found == [one_answer] * COUNT


def until_lines(running: subprocess.Popen[str], count: int) -> list[str]:
    """Read that many lines of its output."""
    assert running.stdout is not None
    return [running.stdout.readline() for _ in range(count)]


def ended(running: subprocess.Popen[str]) -> tuple[str, str]:
    """Return the rest of its output, and what it said on standard error, once it has ended."""
    assert running.stdout is not None
    assert running.stderr is not None
    with running.stdout, running.stderr:
        rest, said = running.stdout.read(), running.stderr.read()
    running.wait(timeout=120)
    return rest, said


def children(parent: int) -> dict[int, str]:
    """Return the processes that a process started, with how they were called."""
    found = {}
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                stat = (folder / "stat").read_text().rsplit(")", 1)[1].split()
                if int(stat[1]) == parent and stat[0] != "Z":
                    found[int(folder.name)] = (folder / "cmdline").read_text().replace("\0", " ")
            except OSError:
                continue
    return found


def gone(process: int) -> bool:
    """Tell whether a process has ended."""
    try:
        return (Path("/proc") / str(process) / "stat").read_text().rsplit(")", 1)[1].split()[0] == "Z"
    except OSError:
        return True


@pytest.mark.parametrize("jobs", [1, 2])
def test_killed_and_run_again(many: Path, one_answer: dict[str, object], tmp_path: Path, jobs: int) -> None:
    """SIGKILL in mid-run, then the same command: the kept file holds every answer once; no process stays behind."""
    keep = tmp_path / "kept.jsonl"
    running = begun("read", many, "--json", "--jobs", jobs, "--keep", keep)
    until_lines(running, 4)
    running.send_signal(signal.SIGSTOP)
    started = children(running.pid)
    running.kill()
    ended(running)
    before = len(keep.read_text().splitlines())
    assert 4 <= before < COUNT
    with keep.open("r+b") as file:  # and the last line is torn, as a machine that loses power may leave it
        file.truncate(len(keep.read_bytes()) - 20)
    assert wait_for(lambda: all(gone(one) for one in started))
    again = hushpoint("read", many, "--json", "--jobs", jobs, "--keep", keep)
    assert again.returncode == 0
    assert len(again.stdout.splitlines()) == COUNT - before + 1
    answered_once(keep.read_text().splitlines(), many, one_answer)


def test_a_killed_worker_process_is_told_and_nothing_is_lost(many: Path, one_answer: dict[str, object]) -> None:
    """One of two processes killed from outside: a line about it, every file answered once, status 0."""
    running = begun("read", many, "--json", "--jobs", 2)
    first = until_lines(running, 3)
    running.send_signal(signal.SIGSTOP)
    workers = [one for one, called in children(running.pid).items() if "spawn_main" in called]
    assert workers
    os.kill(workers[0], signal.SIGKILL)
    running.send_signal(signal.SIGCONT)
    rest, said = ended(running)
    assert running.returncode == 0
    assert "a process ended before it had answered" in said
    assert "Traceback" not in said
    answered_once([*first, *rest.splitlines()], many, one_answer)


def wait_for(true: Callable[[], bool], longest_s: float = 20) -> bool:
    """Tell whether it came true in time."""
    for _ in range(int(longest_s * 20)):
        if true():
            return True
        time.sleep(0.05)
    return False


@pytest.fixture
def cluster(tmp_path: Path) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """A Dask scheduler with two workers, each a process of its own that nobody starts again."""
    pytest.importorskip("distributed")
    dask = [sys.executable, "-m", "dask"]
    address = f"tcp://127.0.0.1:{free_port()}"
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": tmp_path}
    here = [*dask, "scheduler", "--host", "127.0.0.1", "--port", address.rsplit(":", 1)[1], "--no-dashboard"]
    started = [subprocess.Popen(here, **quiet)]  # type: ignore[call-overload]
    worker = [*dask, "worker", address, "--no-nanny", "--nthreads", "1", "--no-dashboard", "--host", "127.0.0.1"]
    workers = [subprocess.Popen(worker, **quiet) for _ in range(2)]  # type: ignore[call-overload]
    try:
        yield address, workers
    finally:
        for process in [*workers, *started]:
            process.kill()
            process.wait()


def test_a_scheduler_with_one_of_two_workers_killed(
    many: Path, one_answer: dict[str, object], cluster: tuple[str, list[subprocess.Popen[bytes]]], tmp_path: Path
) -> None:
    """A worker killed in mid-run: the other takes over; every file answered once, in order, and kept once."""
    from distributed import Client

    address, workers = cluster
    with Client(address, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
    keep = tmp_path / "kept.jsonl"
    running = begun("read", many, "--json", "--scheduler", address, "--keep", keep)
    first = until_lines(running, 4)
    workers[0].kill()
    assert workers[0].wait() == -signal.SIGKILL
    assert len(keep.read_text().splitlines()) < COUNT
    rest, said = ended(running)
    assert running.returncode == 0, said
    assert "Traceback" not in said
    answered_once([*first, *rest.splitlines()], many, one_answer)
    answered_once(keep.read_text().splitlines(), many, one_answer)
    assert workers[1].poll() is None


@pytest.mark.hard
def test_schedulers_that_are_not_there_and_two_ways_at_once(many: Path) -> None:
    """No scheduler, no address, and --jobs beside --scheduler: one line each, status 2."""
    nobody = f"tcp://127.0.0.1:{free_port()}"
    for words in (["--scheduler", "nonsense://x"], ["--scheduler", nobody], ["--scheduler", nobody, "--jobs", 2]):
        answer = hushpoint("read", many, *words)
        assert answer.returncode == 2
        assert answer.stdout == ""
        assert len(answer.stderr.splitlines()) == 1, answer.stderr


def test_a_scheduler_without_the_extra_is_one_line(many: Path, tmp_path: Path) -> None:
    """Where the extra is not installed, the line names it."""
    (tmp_path / "distributed.py").write_text("raise ImportError('not installed')\n")
    environment = {**os.environ, "PYTHONPATH": f"{tmp_path}{os.pathsep}{os.environ.get('PYTHONPATH', '')}"}
    command = [sys.executable, "-c", "from hushpoint.cli.main import run; run()", "read", str(many)]
    answer = subprocess.run(
        [*command, "--scheduler", "tcp://127.0.0.1:1"], capture_output=True, text=True, check=False, env=environment
    )
    assert answer.returncode == 2
    assert answer.stderr == "hushpoint: --scheduler needs the extra: pip install 'hushpoint[dask]'\n"


class Ending:
    """Stands in a batch like a recording's path, and ends whatever process takes it out of its parcel."""

    name = "ending.wav"

    def __str__(self) -> str:
        return self.name

    def __reduce__(self) -> tuple[object, tuple[int]]:
        return os._exit, (1,)


def test_a_recording_that_ends_its_process_twice_is_named(many: Path, one_answer: dict[str, object]) -> None:
    """The one gets an object with `error`; those before, beside and after it their answers, in order."""
    from hushpoint.cli.read import _results

    paths: list[object] = [*sorted(many.glob("*.wav"))[:4]]
    paths.insert(2, Ending())
    found = list(_results([(path, None, False, "png") for path in paths], 2))  # type: ignore[misc]
    assert [one.pop("file") for one in found] == [str(path) for path in paths]
    assert "its process ended 2 times" in found.pop(2)["error"]
    assert found == [one_answer] * 4
