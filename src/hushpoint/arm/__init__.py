"""A practice person's arm: pressures, rhythm, sounds, needle, cuff and valve; the truth of a release."""

from hushpoint.arm.audibility import BeatHeard, Truth, audible_beats, opening_delay_s, slow_truth, truth_of
from hushpoint.arm.beats import BeatTable, beat_table
from hushpoint.arm.cuff import STANDARD_CUFF, Cuff, CuffState, logged_mmhg, squeeze, step, valve_for
from hushpoint.arm.hand import held_release
from hushpoint.arm.needle import STANDARD_NEEDLE, Needle, bounce_mmhg, needle_mmhg
from hushpoint.arm.person import RHYTHMS, ArmEffects, Person, Rhythm, Swings
from hushpoint.arm.render import NOISES, Noise, Rendered, render_measurement
from hushpoint.arm.sounds import phase_sounds
from hushpoint.arm.travel import arm_table

__all__ = [
    "NOISES",
    "RHYTHMS",
    "STANDARD_CUFF",
    "STANDARD_NEEDLE",
    "ArmEffects",
    "BeatHeard",
    "BeatTable",
    "Cuff",
    "CuffState",
    "Needle",
    "Noise",
    "Person",
    "Rendered",
    "Rhythm",
    "Swings",
    "Truth",
    "arm_table",
    "audible_beats",
    "beat_table",
    "bounce_mmhg",
    "held_release",
    "logged_mmhg",
    "needle_mmhg",
    "opening_delay_s",
    "phase_sounds",
    "render_measurement",
    "slow_truth",
    "squeeze",
    "step",
    "truth_of",
    "valve_for",
]
