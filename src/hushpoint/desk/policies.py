"""Clinical policies: the shipped ones, and an institution's own, read from a file and adopted."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from hushpoint.desk.csv_file import bytes_of, own_file
from hushpoint.desk.standing import standing
from hushpoint.errors import BadInputError
from hushpoint.guideline.clinical_policies import ClinicalPolicy, clinical_policies, clinical_policy
from hushpoint.guideline.own_policy import read_own_policy
from hushpoint.ledger.records import Entry, Kind, Ledger

LARGEST_BYTES = 200_000


def parse_policy(data: bytes, name: str) -> tuple[ClinicalPolicy, str]:
    """Return an institution's policy and its text; raises CsvFileError, one line with row, column and legal range."""
    return own_file(data, name, read_own_policy, largest_bytes=LARGEST_BYTES)


def policy_of(typed: str) -> ClinicalPolicy:
    """Return the policy that a person typed: the id of a shipped one, or a CSV file of their own."""
    path = Path(typed)
    if path.suffix.lower() != ".csv":
        return clinical_policy(typed)
    return parse_policy(bytes_of(path), path.name)[0]


def adopt(ledger: Ledger, data: bytes, name: str) -> ClinicalPolicy:
    """Keep an institution's own policy; a later one of the same id takes its place for visits begun after it."""
    policy, text = parse_policy(data, name)
    ledger.append(Entry(Kind.POLICY_ADOPTED, {"id": policy.id, "text": text}))
    return policy


def known_policies(ledger: Ledger, *, before: int | None = None) -> Mapping[str, ClinicalPolicy]:
    """Return the shipped and the adopted policies by id, as they stood `before` a row of the journal."""
    found = dict(clinical_policies())
    for row in standing(ledger, [Kind.POLICY_ADOPTED]):
        if row.body is not None and (before is None or row.seq < before):
            found[row.body["id"]] = read_own_policy(row.body["text"], row.body["id"])
    return found


def known_policy(ledger: Ledger, policy_id: str, *, before: int | None = None) -> ClinicalPolicy:
    """Return a shipped or adopted policy; raises BadInputError with the list where there is none."""
    shipped = clinical_policies()
    if policy_id in shipped:  # an own policy never has the id of a shipped one
        return shipped[policy_id]
    found = known_policies(ledger, before=before)
    if policy_id not in found:
        told = policy_id[:40].encode("unicode_escape").decode()
        raise BadInputError(f'policy "{told}": must be one of {", ".join(found)}')
    return found[policy_id]


EMERGENCY_SETTING = "emergency_number"
LONGEST_NUMBER = 20


def emergency_number(ledger: Ledger) -> str:
    """Return the number that the emergency screen names, "" where the institution has set none."""
    return ledger.setting(EMERGENCY_SETTING) or ""


def set_emergency_number(ledger: Ledger, number: str) -> None:
    """Set the number of the emergency service; raises BadInputError for anything but digits, spaces and +."""
    number = number.strip()
    if len(number) > LONGEST_NUMBER or not all(sign.isascii() and (sign.isdigit() or sign in "+ ") for sign in number):
        raise BadInputError(f"emergency number: must be at most {LONGEST_NUMBER} digits, spaces and +, or empty")
    ledger.set_setting(EMERGENCY_SETTING, number)
