"""Whatever the pairs, `hushpoint judge` answers with plain JSON and with words: no NaN, no infinity, no traceback."""

from __future__ import annotations

import contextlib
import io
import json
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from hushpoint.cli.judge import judge_file
from hushpoint.guideline.competence_rules import competence_rules

PRESSURE = st.one_of(st.integers(1, 300), st.sampled_from([120, 120, 118, 0.5, 299.9]))
ROW = st.tuples(PRESSURE, PRESSURE, st.booleans(), st.booleans(), st.sampled_from(["", "a", "b", "c"]))


def refused(constant: str) -> float:
    """JSON that holds NaN or Infinity is no JSON."""
    raise ValueError(constant)


@settings(max_examples=120, deadline=None)
@given(st.lists(ROW, min_size=1, max_size=30), st.sampled_from(sorted(competence_rules())), st.booleans())
def test_any_pairs_are_answered_in_json_and_in_words(
    rows: list[tuple[float, float, bool, bool, str]], rule: str, variety: bool
) -> None:
    """Few or many, equal or wild, with or without diastolics and clients."""
    lines = ["measurement,observer,systolic,diastolic,client"]
    for place, (theirs, mine, their_lower, my_lower, client) in enumerate(rows):
        lines.append(f"{place},L,{theirs},{theirs / 2 if their_lower else ''},{client}")
        lines.append(f"{place},S,{mine},{mine / 2 if my_lower else ''},{client}")
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "pairs.csv"
        file.write_text("\n".join(lines) + "\n", encoding="utf-8")
        printed, told = io.StringIO(), io.StringIO()
        for out, as_json in ((printed, True), (told, False)):
            with contextlib.redirect_stdout(out):
                judge_file(file, learner="S", reference="L", rule=rule, rules=None, variety=variety, as_json=as_json)
    found = json.loads(printed.getvalue(), parse_constant=refused)
    assert found["verdict"] in ("competent", "not_yet", "too_few")
    assert bool(found["missing"]) == (found["verdict"] != "competent")
    assert "lecturer decides" in " ".join(told.getvalue().split())
    assert "nan" not in told.getvalue().lower().replace("nhanes", "")
