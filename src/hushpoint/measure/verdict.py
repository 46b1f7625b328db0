"""Verdicts are small frozen classes with a reason: never 0, never NaN, never a bare string."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Heard:
    """A pressure that could be heard, with the range it certainly lies in [mmHg]."""

    mmhg: float
    low_mmhg: float
    high_mmhg: float

    def __post_init__(self) -> None:
        if not self.low_mmhg <= self.mmhg <= self.high_mmhg:
            raise ValueError(f"heard {self.mmhg} must lie in its range {self.low_mmhg} to {self.high_mmhg}")


@dataclass(frozen=True, slots=True)
class Withheld:
    """No pressure is given, and this is why, in plain words."""

    reason: str
