"""`hushpoint policy [ID|FILE.csv]`: the clinical policies, one written out to be changed, an own one checked."""

from __future__ import annotations

from pathlib import Path

from hushpoint.cli.tables import result_console, result_table
from hushpoint.desk.csv_file import bytes_of
from hushpoint.desk.policies import parse_policy
from hushpoint.errors import BadInputError
from hushpoint.guideline.clinical_policies import clinical_policies, clinical_policy
from hushpoint.guideline.own_policy import based_on, changes, policy_text

CAUTION = (
    "A policy says what an institution lets happen: no diagnosis. Local rules, scope of practice and law come first."
)


def show_policy(typed: str | None, own_id: str | None) -> None:
    """List the policies, write one out as CSV under `own_id`, or check a file. Raises BadInputError."""
    if typed is None:
        _list()
    elif Path(typed).suffix.lower() == ".csv":
        if own_id is not None:
            raise BadInputError("--own-id: goes with the id of a shipped policy, not with a file")
        _check(Path(typed))
    else:
        text = policy_text(clinical_policy(typed), own_id or f"OUR_{typed}")
        print(text, end="")  # noqa: T201


def _list() -> None:
    out = result_console()
    table = result_table("policy", "guideline", "readings", "rest s", title="Shipped clinical policies")
    for policy in clinical_policies().values():
        protocol = policy.protocol
        table.add_row(policy.id, policy.name, str(protocol.readings), f"{protocol.rest_s:g}")
    out.print(table)
    out.print("hushpoint policy ID > ours.csv writes one out to be changed; hushpoint policy ours.csv checks it.")
    out.print(CAUTION)


def _check(path: Path) -> None:
    policy, text = parse_policy(bytes_of(path), path.name)
    shipped = clinical_policy(based_on(text))
    out = result_console()
    found = changes(policy, shipped)
    out.print(f"{policy.id} can be used. Changed from {shipped.id}: {len(found) or 'nothing'}.", markup=False)
    for what, theirs, ours in found:
        out.print(f"  {what}: {theirs} -> {ours}", markup=False)
    memory = policy.from_memory()
    if memory:
        out.print(f"Not checked against the printed text: {', '.join(memory)}.", markup=False)
    out.print(CAUTION)
