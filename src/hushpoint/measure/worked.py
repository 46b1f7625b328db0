"""How a figure or a verdict came about, in lines that a person can do again by hand."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

OUR_OWN = "our own rule"
"""What stands for a source where no text sets the limit."""


@dataclass(frozen=True, slots=True)
class Worked:
    """The calculation behind one figure or verdict: the last of `steps` ends with what the page shows.

    `source` names author, year and table, or says that the rule is our own, with its mark where it was not seen.
    """

    what: str
    steps: tuple[str, ...]
    source: str

    def as_json(self) -> dict[str, object]:
        """Return the object that pages and commands show."""
        return {"what": self.what, "steps": list(self.steps), "source": self.source}


def figure_words(value: float) -> str:
    """Return a number as a line shows it: six significant digits at most, a true minus, 0 without a sign."""
    return f"{float(f'{value:.6g}') + 0.0:.6g}".replace("-", "\N{MINUS SIGN}")


def sum_words(values: Iterable[float]) -> str:
    """Return "142 + 138", with a number below 0 taken away: "3 − 2"."""
    told = [figure_words(value) for value in values]
    return told[0] + "".join(
        f" \N{MINUS SIGN} {one[1:]}" if one.startswith("\N{MINUS SIGN}") else f" + {one}" for one in told[1:]
    )
