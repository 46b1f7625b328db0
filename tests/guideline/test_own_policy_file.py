"""An institution's own policy: written out, changed, read back, refused with one line."""

from __future__ import annotations

from dataclasses import replace

import pytest

from hushpoint.guideline.clinical_policies import clinical_policies, clinical_policy
from hushpoint.guideline.own_policy import COLUMNS, changes, policy_text, read_own_policy
from hushpoint.guideline.tables import TableError

TEXT = policy_text(clinical_policy("NHFA_2016"), "OUR_COLLEGE")


@pytest.mark.parametrize("policy_id", list(clinical_policies()))
def test_a_policy_written_out_is_read_back_whole(policy_id: str) -> None:
    """Bands, figures and ladder come back; only id and name are the institution's."""
    shipped = clinical_policy(policy_id)
    own = read_own_policy(policy_text(shipped, "OUR_COLLEGE"), "own.csv")
    assert own.id == "OUR_COLLEGE"
    assert own.ladder == shipped.ladder
    assert replace(own.scheme, id=policy_id) == shipped.scheme
    assert changes(own, shipped) == ()


def test_what_was_changed_is_told() -> None:
    """A longer rest and a higher step are the two changes."""
    own = read_own_policy(
        TEXT.replace("l,rest_s,300", "l,rest_s,600").replace("step,C,,,,160", "step,C,,,,170"), "own.csv"
    )
    assert own.protocol.rest_s == 600
    assert [what for what, _, _ in changes(own, clinical_policy("NHFA_2016"))] == ["rest s", "ladder"]


def lines_without(start: str) -> str:
    """The file without the rows that begin so."""
    return "".join(line for line in TEXT.splitlines(keepends=True) if not line.startswith(start))


BROKEN = {
    "the heading": (TEXT.replace("part,", "piece,", 1), "heading must be part,what"),
    "a shipped id": (TEXT.replace("OUR_COLLEGE", "NHFA_2016"), "none of"),
    "an odd id": (TEXT.replace("OUR_COLLEGE", "our college"), "A-Z, 0-9 and _"),
    "no origin": (TEXT.replace("based_on,NHFA_2016", "based_on,ELSEWHERE"), "based_on"),
    "no bands": (lines_without("band,"), "no row of part band"),
    "no ladder": (lines_without("step,"), "no row of part step"),
    "a missing figure": (lines_without("protocol,rest_s"), "rest_s"),
    "text for a number": (TEXT.replace("rest_s,300", "rest_s,long"), "from 0 to 3600"),
    "a number too high": (TEXT.replace("rest_s,300", "rest_s,3601"), "from 0 to 3600"),
    "a step out of order": (TEXT.replace("step,C,,,,160", "step,C,,,,200"), "no graver and no sooner"),
    "an unknown verdict": (TEXT.replace(",refer,30,", ",send,30,"), "must be one of"),
    "an unknown part": (TEXT.replace("step,C", "rung,C"), "must be one of"),
    "a row twice": (TEXT + next(line for line in TEXT.splitlines() if line.startswith("step,C")) + "\n", "twice"),
    "a ragged row": (TEXT + "step,Z\n", f"must be {len(COLUMNS)}"),
    "a control character": (TEXT.replace("NHFA 2016", "NHFA\x072016"), "printable"),
    "a cell of a book": (TEXT.replace("NHFA 2016", "N" * 400), "at most 300"),
    "nothing": ("", "heading must be"),
}


@pytest.mark.parametrize("kind", list(BROKEN))
def test_a_broken_file_gives_one_line(kind: str) -> None:
    """The line names the file, and what is legal."""
    text, said = BROKEN[kind]
    with pytest.raises(TableError, match=said) as refused:
        read_own_policy(text, "own.csv")
    line = str(refused.value)
    assert line.startswith("own.csv")
    assert "\n" not in line
