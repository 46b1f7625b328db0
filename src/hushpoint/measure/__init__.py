"""The shared words: verdicts, what an observer wrote, units and legal ranges. Imports nothing of Hushpoint."""

from hushpoint.measure.reading import NotHeard, Reading, Written
from hushpoint.measure.shown import decimal_words, kilopascals, stated, stated_chance, truth_words, whole_mmhg
from hushpoint.measure.verdict import Heard, Withheld
from hushpoint.measure.worked import OUR_OWN, Worked, figure_words, sum_words

__all__ = [
    "OUR_OWN",
    "Heard",
    "NotHeard",
    "Reading",
    "Withheld",
    "Worked",
    "Written",
    "decimal_words",
    "figure_words",
    "kilopascals",
    "stated",
    "stated_chance",
    "sum_words",
    "truth_words",
    "whole_mmhg",
]
