"""Who may do what, one module an area: each has TABLE, and may have `furnish` to make what its routes need."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

ASKERS = ("stranger", "elsewhere", "classmate", "learner", "lecturer", "assessor", "practitioner", "auditor")
"""A learner of another class; one of the same class; the learner whose readings they are; and the staff."""
STAFF = ASKERS[5:]


@dataclass(frozen=True)
class Asked:
    """What is sent, and the status each asker gets, in the order of ASKERS.

    A role that is not named in `also` gets what a stranger gets, or is told that the page is the lecturer's.
    """

    status: tuple[int, int, int, int, int]
    send: dict[str, Any] = field(default_factory=dict)
    also: dict[str, int] = field(default_factory=dict)

    def statuses(self) -> dict[str, int]:
        """Return what every asker gets."""
        otherwise = 403 if self.status[0] == 401 else self.status[0]
        five = dict(zip(ASKERS, self.status, strict=False))
        return five | {role: self.also.get(role, otherwise) for role in STAFF}


def opened_to(role: str, table: dict[tuple[str, str], Asked], **odd: int) -> dict[tuple[str, str], Asked]:
    """Return the table with its lecturer's rows opened to a role too.

    `odd` names rows, by the end of their path, where whoever comes after the lecturer gets another status.
    """
    found = {}
    for (method, path), asked in table.items():
        lecturers_own = asked.status[0] == 401
        status = odd.get(path.rsplit("/", 1)[1].strip("{}").replace("-", "_"), asked.status[4])
        found[method, path] = replace(asked, also={**asked.also, role: status}) if lecturers_own else asked
    return found


def anyone(status: int, **send: Any) -> Asked:
    """Everyone gets the same."""
    return Asked((status,) * 5, send)


def lecturers(status: int, **send: Any) -> Asked:
    """The lecturer's alone: everyone else is told to come in first."""
    return Asked((401, 401, 401, 401, status), send)


def learners(status: int, otherwise: int, **send: Any) -> Asked:
    """Any learner's own room."""
    return Asked((otherwise, status, status, status, otherwise), send)


def the_learners_own(status: int, **send: Any) -> Asked:
    """Of this one learner alone: not of a classmate, and not of the lecturer in the learner's place."""
    return Asked((403, 403, 403, status, 403), send)
