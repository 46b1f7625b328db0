"""The list of clients: a visit begins under the policy that is in use here, and a refusal keeps what was typed."""

from __future__ import annotations

import re
from pathlib import Path

from starlette.testclient import TestClient

from hushpoint.ledger.memory import MemoryLedger
from hushpoint.wiring import Settings, build


def chosen(page: str) -> list[str]:
    """The policies that the list offers as chosen."""
    return re.findall(r'<option value="(\w+)" selected>\w+ ·', page)


def test_the_policy_last_used_is_offered_first(tmp_path: Path) -> None:
    """Nothing is chosen before the first visit; then what the newest visit went by; a refusal keeps policy and code."""
    desk = TestClient(build(Settings(data_dir=tmp_path), MemoryLedger()), client=("127.0.0.1", 1))
    desk.post("/class/first-run", data={"password": "ten letters or more"})
    assert chosen(desk.get("/client").text) == []
    for policy in ("NICE_NG136", "NHFA_2016"):
        desk.post("/client/begin", data={"policy": policy})
        assert chosen(desk.get("/client").text) == [policy]
    refused = desk.post("/client/begin", data={"policy": "ESC_2024", "code": "no code!"})
    assert refused.status_code == 422
    assert chosen(refused.text) == ["ESC_2024"]
    assert 'value="no code!"' in refused.text
