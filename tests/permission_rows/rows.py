"""Who may do what, one module an area: each has TABLE, and may have `furnish` to make what its routes need."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

ASKERS = ("stranger", "elsewhere", "classmate", "learner", "lecturer")
"""A learner of another class; one of the same class; the learner whose readings they are; and the lecturer."""


@dataclass(frozen=True)
class Asked:
    """What is sent, and the status each asker gets, in the order of ASKERS."""

    status: tuple[int, int, int, int, int]
    send: dict[str, Any] = field(default_factory=dict)


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
