"""`hushpoint render`: measurements on practice arms as sound, cuff pressure and truth."""

from __future__ import annotations

from pathlib import Path

from hushpoint.arm import NOISES, RHYTHMS, Person, Rendered, Swings, render_measurement
from hushpoint.arm.person import LOUDNESS_DB, NARROWEST_MMHG
from hushpoint.cli.told import tell
from hushpoint.errors import BadInputError
from hushpoint.recording import write_recording

HIGHEST_SEED = 2**63 - 1
MOST = 10_000
SYSTOLIC_MMHG = (60, 260)
DIASTOLIC_MMHG = (30, 180)
PULSE_PER_MIN = (30, 200)
RELEASE_MMHG_PER_S = (0.5, 30)
FAINT_DB = (0, 60)


def render_files(
    systolic: float,
    diastolic: float,
    pulse: float,
    release: float,
    seed: int,
    out: Path,
    *,
    gap: str | None = None,
    rhythm: str = "regular",
    faint_db: float = 0.0,
    noise: str | None = None,
    count: int = 1,
) -> None:
    """Write `count` recordings with seeds from `seed` on into `out`, and one line about each on standard
    output.

    Every option is checked before anything is written. Raises BadInputError with the legal range.
    """
    _check("--systolic", systolic, SYSTOLIC_MMHG, "mmHg")
    _check("--diastolic", diastolic, DIASTOLIC_MMHG, "mmHg")
    if diastolic > systolic - NARROWEST_MMHG:
        raise BadInputError(
            f"--diastolic {diastolic:g} must be at least {NARROWEST_MMHG:g} mmHg below --systolic {systolic:g}"
        )
    _check("--pulse", pulse, PULSE_PER_MIN, "per minute")
    _check("--release", release, RELEASE_MMHG_PER_S, "mmHg per second")
    _check("--faint-db", faint_db, FAINT_DB, "dB")
    _check("--count", count, (1, MOST), "measurements")
    if not 0 <= seed <= HIGHEST_SEED - count + 1:
        raise BadInputError(f"--seed must be 0 to {HIGHEST_SEED}, counting the {count} measurements from it on")
    if rhythm not in RHYTHMS:
        raise BadInputError(f"--rhythm must be one of: {', '.join(RHYTHMS)}")
    if noise is not None and noise not in NOISES:
        raise BadInputError(f"--noise must be one of: {', '.join(NOISES)}")
    if out.exists() and not out.is_dir():
        raise BadInputError(f"--out {out} is a file, must be a folder")
    person = Person(
        systolic_mmhg=systolic,
        diastolic_mmhg=diastolic,
        pulse_per_min=pulse,
        rhythm=rhythm,
        loudness_db=LOUDNESS_DB - faint_db,
        gap_mmhg=_gap(gap, diastolic, systolic),
        swings=Swings.resting(),
    )
    for one in range(seed, seed + count):
        rendered = render_measurement(person, release_mmhg_per_s=release, seed=one, noise=noise)
        name = f"arm-{systolic:.0f}-{diastolic:.0f}-seed-{one}"
        write_recording(
            out,
            name,
            samples=rendered.samples,
            rate_hz=rendered.rate_hz,
            time_s=rendered.time_s,
            pressure_mmhg=rendered.pressure_mmhg,
            made=rendered.made,
        )
        tell(_line(name, rendered))


def _line(name: str, rendered: Rendered) -> str:
    ends = []
    for end in ("systolic", "diastolic"):
        mmhg = rendered.made[f"{end}_mmhg"]
        why = rendered.made.get(f"{end}_withheld")
        ends.append(f"no {end} ({why})" if mmhg is None else f"{end} {mmhg:.1f}")
    return f"{name}: {', '.join(ends)}; {len(rendered.samples) / rendered.rate_hz:.1f} s"


def _check(option: str, value: float, legal: tuple[float, float], unit: str) -> None:
    if not legal[0] <= value <= legal[1]:  # no comparison holds for nan
        shown = "a huge number" if abs(value) >= 1e12 else f"{value:g}"
        raise BadInputError(f"{option} {shown} must be {legal[0]:g} to {legal[1]:g} {unit}")


def _gap(text: str | None, diastolic: float, systolic: float) -> tuple[float, float] | None:
    if text is None:
        return None
    try:
        low, high = (float(part) for part in text.split(":"))
    except ValueError:
        raise BadInputError("--gap must be LOW:HIGH in mmHg, such as 150:168") from None
    if not diastolic < low < high < systolic:
        raise BadInputError(
            f"--gap {low:g}:{high:g} must rise and lie between diastolic {diastolic:g} and systolic {systolic:g} mmHg"
        )
    return low, high
