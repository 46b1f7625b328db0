"""What every test may ask for: the real data beside the project, and a ban on skips where the build demands it."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path

import pytest

from small_disks import mounted

pytest_plugins = ["postgres_server", "told"]

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command sets it, before anything loads numpy

SHARED = Path(__file__).resolve().parents[2] / "shared"


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """The folder of real data; a test that needs it skips where it is absent."""
    if not (SHARED / "data").is_dir():
        pytest.skip("the real data (../shared/data) is not here")
    return SHARED / "data"


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of one megabyte of its own."""
    with mounted(tmp_path / "small", "1m") as place:
        yield place


@pytest.hookimpl(hookwrapper=True)
def pytest_runtest_makereport(item, call):
    """With HUSHPOINT_FORBID_SKIPS=1 a skipped test counts as failed: nothing may go unchecked unseen."""
    outcome = yield
    report = outcome.get_result()
    if report.skipped and not hasattr(report, "wasxfail") and os.environ.get("HUSHPOINT_FORBID_SKIPS") == "1":
        report.outcome = "failed"
        report.longrepr = f"skips are forbidden here: {item.nodeid}: {report.longrepr}"
