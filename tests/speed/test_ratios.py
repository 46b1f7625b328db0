"""Timings as ratios against a peer in one run: printed, never asserted. `make speed` shows them."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from timing import median_s

pytestmark = pytest.mark.speed


def test_help_against_a_bare_python() -> None:
    """`hushpoint --help` beside `python -c pass`."""
    program = Path(sys.executable).with_name("hushpoint")
    ours = median_s(lambda: subprocess.run([program, "--help"], check=True, capture_output=True))
    peer = median_s(lambda: subprocess.run([sys.executable, "-c", "pass"], check=True, capture_output=True))
    print(f"--help {ours * 1000:.0f} ms, bare python {peer * 1000:.0f} ms, ratio {ours / peer:.1f}")


def test_render_of_40_s_against_one_fft_of_its_length() -> None:
    """A rendered 40 s measurement beside one Fourier transform of as many samples."""
    from hushpoint.arm import Person, render_measurement

    def ours() -> object:
        return render_measurement(Person(systolic_mmhg=128, diastolic_mmhg=82), release_mmhg_per_s=2.5, seed=7)

    made = render_measurement(Person(systolic_mmhg=128, diastolic_mmhg=82), release_mmhg_per_s=2.5, seed=7)
    noise = np.random.default_rng(0).standard_normal(made.samples.size)
    mine, peer = median_s(ours), median_s(lambda: np.fft.rfft(noise))
    seconds = made.samples.size / made.rate_hz
    print(f"render of {seconds:.0f} s: {mine * 1000:.1f} ms, FFT {peer * 1000:.2f} ms, ratio {mine / peer:.0f}")


def test_append_against_a_bare_sqlite_commit(tmp_path: Path) -> None:
    """One journal append beside one bare SQLite commit with the same pragmas."""
    import sqlite3

    from hushpoint.ledger.records import Entry, Kind
    from hushpoint.ledger.store import open_sqlite

    ledger = open_sqlite(tmp_path / "ledger.sqlite")
    bare = sqlite3.connect(tmp_path / "bare.sqlite", isolation_level=None)
    for pragma in ("journal_mode=WAL", "synchronous=FULL"):
        bare.execute(f"PRAGMA {pragma}")
    bare.execute("CREATE TABLE row (body TEXT)")
    ours = median_s(lambda: ledger.append(Entry(Kind.CLASS_OPENED, {"name": "speed"})), 101)
    peer = median_s(lambda: bare.execute("INSERT INTO row VALUES ('speed')"), 101)
    print(f"append {ours * 1000:.2f} ms, bare commit {peer * 1000:.2f} ms, ratio {ours / peer:.1f}")
    ledger.close()
    bare.close()


@pytest.mark.parametrize("people", [100, 1_000, 10_000])
def test_intraclass_forms_against_pingouin(people: int) -> None:
    """The six intraclass correlations of two raters with intervals, ours beside pingouin's."""
    import pandas as pd
    import pingouin

    from hushpoint.agreement import intraclass

    rng = np.random.default_rng(3)
    table = (rng.normal(130, 15, (people, 1)) + rng.normal(0, 3, (people, 2))).round().tolist()
    rows = [(person, rater, value) for person, pair in enumerate(table) for rater, value in enumerate(pair)]
    frame = pd.DataFrame(rows, columns=["person", "rater", "value"])
    ours = median_s(lambda: intraclass(table), 3)
    peer = median_s(lambda: pingouin.intraclass_corr(data=frame, targets="person", raters="rater", ratings="value"), 3)
    print(f"{people} people: {ours * 1000:.1f} ms, pingouin {peer * 1000:.0f} ms, ratio 1/{peer / ours:.0f}")
