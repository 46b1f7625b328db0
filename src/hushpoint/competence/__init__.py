"""Pass rules, their odds, learning curve and currency: competent, not yet, or what is missing."""

from hushpoint.competence.by_hand import currency_by_hand, curve_by_hand, judged_by_hand, odds_by_hand
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
    "currency_by_hand",
    "curve_by_hand",
    "judge",
    "judged_by_hand",
    "odds_by_hand",
    "pass_odds",
]
