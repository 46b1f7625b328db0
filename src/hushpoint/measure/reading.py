"""A reading: the pair that one observer wrote for one measurement."""

from __future__ import annotations

from dataclasses import dataclass

LOWEST_MMHG = 0
HIGHEST_MMHG = 300
"""The dial runs from 0 to 300 mmHg; nothing outside it can be written."""


@dataclass(frozen=True, slots=True)
class Written:
    """A number as the observer wrote it [mmHg], 0 to 300, never rounded by us."""

    mmhg: int

    def __post_init__(self) -> None:
        if not LOWEST_MMHG <= self.mmhg <= HIGHEST_MMHG:
            raise ValueError(f"{self.mmhg} must be {LOWEST_MMHG} to {HIGHEST_MMHG}")


@dataclass(frozen=True, slots=True)
class NotHeard:
    """The observer says that this end could not be heard: an answer, not a gap in the form."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What one observer wrote for one measurement.

    `muffling` is phase IV, written only where the sounds go on to zero (three numbers, such as 138/72/0).
    """

    systolic: Written | NotHeard
    diastolic: Written | NotHeard
    muffling: Written | None = None
