"""The invented record of the frozen evidence bundles in tests/vectors, with one of everything that a bundle holds.

`python tests/frozen_bundle.py` writes the bundle of the format of today, once: a bundle that lies there is never made
again, since it stands for those that auditors keep. Nobody in it exists.
"""

from __future__ import annotations

import json
import zipfile
from datetime import UTC, date, datetime
from pathlib import Path

from evidence_scenes import SCENE_NINE, Clock, paper_taken, signing, twenty_pairs
from hushpoint.desk import classes, decisions, pairs, papers, technique
from hushpoint.desk.bundle import FORMAT_VERSION, bundle
from hushpoint.guideline.technique_steps import technique_steps
from hushpoint.ledger.memory import MemoryLedger
from hushpoint.ledger.records import Ledger

FROZEN = Path(__file__).parent / "vectors"
REFERENCES = [(2 * (55 + (7 * place) % 27), 2 * (34 + (5 * place) % 14)) for place in range(20)]


def frozen_path(version: int) -> Path:
    """Where the bundle of a format version is kept."""
    return FROZEN / f"INVENTED-evidence-format-{version}.zip"


def invented_record(ledger: Ledger, clock: Clock) -> tuple[str, str]:
    """Store pairs fair, unfair, corrected and set aside, a paper, two sheets, a decision amended and appealed."""
    code = classes.open_class(ledger, name="INVENTED class", policy_id="PALPATED_30")
    who = classes.join(ledger, room=code, name="Ines Invented")
    other = classes.join(ledger, room=code, name="Olu Invented")
    paper = papers.set_paper(ledger, room=code, setting=papers.Setting("INVENTED paper"), seed=5)
    paper_taken(ledger, code, who, paper, clock.day, [0, 2] * 24)
    first, second, *_ = twenty_pairs(ledger, code, who, SCENE_NINE, REFERENCES)
    for place, opening in enumerate(
        (
            pairs.Opening(who, other, client="K90"),
            pairs.Opening(who, same_inflation=False, client="K91"),
            pairs.Opening(who, client="K92"),
        )
    ):
        pair = pairs.open_pair(ledger, room=code, opening=opening)
        for observer in (opening.learner, opening.reference):
            numbers = (120 + 2 * place, None if place == 2 and observer == who else 80)
            pairs.seal(
                ledger, room=code, pair=pair, observer=observer, systolic=numbers[0], diastolic=numbers[1], ref="s2"
            )
    pairs.cancel(ledger, room=code, pair=second, cancelled=True, why="the cuff slipped (INVENTED)")
    pairs.correct(
        ledger, room=code, pair=first, observer=pairs.LECTURER, by=pairs.LECTURER, systolic=112, diastolic=68,
        why="slip of the pen (INVENTED)", ref="c1",
    )  # fmt: skip
    watched = technique.begin(ledger, room=code, learner=who, ref="t1")
    for assessor, left_out in (("AB", 5), ("CD", 7)):
        marks = {step.id: "missed" if step.number % left_out == 0 and not step.critical else "done"
                 for step in technique_steps()}  # fmt: skip
        sheet = {"assessor": assessor, "marks": marks, "notes": {}, "overall": "alone", "ref": assessor}
        technique.mark(ledger, room=code, performance=watched, sheet=sheet)
    clock.day = "2026-11-20"
    told = signing(adjustment="amplified stethoscope head", assessor="L. Invented", noise="quiet")
    signed = decisions.sign(ledger, room=code, learner=who, signing=told, today=date(2026, 11, 20))
    decisions.amend(
        ledger, room=code, learner=who, row=signed.row, name="noise", new="loud", by="L. Invented",
        why="left out (INVENTED)", ref="m",
    )  # fmt: skip
    decisions.appeal(
        ledger, room=code, learner=who, row=signed.row, by="Ines Invented", grounds="the cuff (INVENTED)",
        outcome="open", ref="a",
    )  # fmt: skip
    return code, who


def main() -> None:
    """Write the bundle of the format of today, where none lies there yet."""
    path = frozen_path(FORMAT_VERSION)
    if path.exists():
        raise SystemExit(f"{path.name} lies there already: it is kept as it is")
    clock = Clock("2026-11-18")
    ledger = MemoryLedger(clock=clock)
    code, who = invented_record(ledger, clock)
    path.write_bytes(
        bundle(ledger, room=code, who=who, made_at=datetime(2026, 11, 20, 9, 0, tzinfo=UTC), invented=True)
    )
    with zipfile.ZipFile(path) as packed:
        told = {info.filename: info.file_size for info in packed.infolist()}
    print(json.dumps(told))


if __name__ == "__main__":
    main()
