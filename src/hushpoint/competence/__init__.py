"""Pass rules, their odds, learning curve and currency: competent, not yet, or what is missing."""

from hushpoint.competence.judging import Judgement, Variety, judge
from hushpoint.competence.odds import TWO_OBSERVERS_SD_MMHG, PassOdds, pass_odds
from hushpoint.competence.verdict import Competent, NotYet, TooFew, Verdict, counted

__all__ = [
    "TWO_OBSERVERS_SD_MMHG",
    "Competent",
    "Judgement",
    "NotYet",
    "PassOdds",
    "TooFew",
    "Variety",
    "Verdict",
    "counted",
    "judge",
    "pass_odds",
]
