"""The shared words: verdicts, what an observer wrote, units and legal ranges. Imports nothing of Hushpoint."""

from hushpoint.measure.reading import NotHeard, Reading, Written
from hushpoint.measure.shown import decimal_words, kilopascals, stated, stated_chance, truth_words, whole_mmhg
from hushpoint.measure.verdict import Heard, Withheld

__all__ = [
    "Heard",
    "NotHeard",
    "Reading",
    "Withheld",
    "Written",
    "decimal_words",
    "kilopascals",
    "stated",
    "stated_chance",
    "truth_words",
    "whole_mmhg",
]
