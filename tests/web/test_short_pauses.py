"""Python's collector does not go through what the app holds again and again."""

from __future__ import annotations

import gc
from pathlib import Path

from starlette.testclient import TestClient

from hushpoint.ledger.memory import MemoryLedger
from hushpoint.wiring import Settings, ShortPauses, build


def test_what_a_long_collection_left_is_set_aside_until_the_app_stops(tmp_path: Path) -> None:
    """After one that took longer than the limit nothing is looked through twice; a short one changes nothing."""
    gc.unfreeze()
    for longest_s, kept in ((60.0, False), (0.0, True)):
        pauses = ShortPauses(longest_s)
        pauses.start()
        gc.collect()
        assert (gc.get_freeze_count() > 0) == kept
        pauses.stop()
        assert gc.get_freeze_count() == 0
    before = list(gc.callbacks)
    with TestClient(build(Settings(data_dir=tmp_path), MemoryLedger())):
        assert len(gc.callbacks) == len(before) + 1
    assert gc.callbacks == before
