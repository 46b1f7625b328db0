"""What a beat's sound is like is learnt from this recording's own beats, and looked for where the beat would put it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from hushpoint.ear.bands import FRAMES_PER_S, Bands

Floats = NDArray[np.float64]
Waves = NDArray[np.complex128]

TINY = 1e-12
LAG_S = (-0.12, 0.34)
"""A sound is looked for this far about its beat: it falls up to 120 ms after the foot (acoustics 1), and the beat is
placed where the cuff rises fastest or where thump and sound are strongest."""
WINDOW_S = 0.05
"""Neighbours share a sound where they are alike over twice this: clear sounds last 25 to 35 ms, muffled ones 51."""
HALF_S = 0.09
"""Half of what is learnt of a sound: past a murmur of 90 ms."""
SLACK_S = 0.02
"""From one beat to the next a sound moves against the beat by no more (uneven pressures move the foot)."""
LAG_STEP_S = 0.007
"""A beat's sound moves against the beat by a few milliseconds from one to the next (100 ms over the range;
acoustics 6, row 9)."""
LAG_DRIFT_S = -0.003
"""It comes earlier as the cuff falls: some 100 ms over some 35 beats (acoustics 6, rows 9 and 10)."""
FARTHEST_LAG_S = 0.03
WEAK = 0.1
"""A beat that shares less than this of what the strongest share teaches nothing."""
THIRDS = ((0.0, 0.34), (0.33, 0.67), (0.66, 1.0))
"""Sounds change over the range: taps, murmurs, thuds (acoustics 1)."""
FLOOR_DB = 38.0
LOW_ATOMS_HZ = (33.0, 46.0)
LOW_ATOM_S = 0.022
"""Muffled sounds peak at 31 Hz, centre 35, 10 to 90 % from 21 to 53 Hz, and last 51 ms (acoustics 1): looked for by
themselves, since the loud sounds of a recording do not tell what its muffled ones are like."""


@dataclass(frozen=True)
class Matched:
    """`at_s` (n,): where each beat's sound falls or would fall. `filters` (m, frames): how strongly the sound is, at
    each moment, like the sounds of this recording's upper, middle and lower range, and like a muffled one."""

    at_s: Floats
    filters: Floats


def matched(bands: Bands, beat_s: Floats) -> Matched:
    """Return where each beat's sound falls and how like a true sound it is at each moment."""
    from scipy import fft

    frames = len(bands.wave)
    white, colour = _whitened(np.pad(bands.wave, (0, fft.next_fast_len(frames) - frames)))
    lags, strength = _track(white[:frames], bands.time_s, beat_s)
    at_s = beat_s + lags
    half = round(HALF_S * FRAMES_PER_S)
    around = (np.arange(2 * half + 1) - half) / FRAMES_PER_S
    kernels = [_kernel(template, len(white)) for template in _templates(white, bands.time_s, at_s, strength)]
    for hz in LOW_ATOMS_HZ:
        turn = np.exp(2j * np.pi * (hz - bands.wave_from_hz) * around)
        kernels.append(_kernel(np.exp(-0.5 * (around / LOW_ATOM_S) ** 2) * turn, len(white)) / colour)
    spectrum = fft.fft(white)
    filters = np.empty((len(kernels), frames))
    for row, kernel in zip(filters, kernels, strict=True):
        size = np.sqrt((np.abs(kernel) ** 2).mean()) + TINY
        row[:] = np.abs(fft.ifft(spectrum * kernel.conj())[:frames]) / size
    return Matched(at_s, filters)


def _kernel(piece: Waves, count: int) -> Waves:
    """Return the transform (count,) of a piece put about time nought."""
    from scipy import fft

    padded = np.zeros(count, dtype=complex)
    padded[: len(piece)] = piece
    kernel: Waves = fft.fft(np.roll(padded, -(len(piece) // 2)))
    return kernel


def _whitened(wave: Waves) -> tuple[Waves, Floats]:
    """Return the wave with its noise evened out over frequency, and by what each bin was divided.

    Noise is the power that is there half the time, but no less than 38 dB below the loudest.
    """
    from scipy import fft

    size = 64
    starts = np.arange(0, max(len(wave) - size, 1), size // 2)
    window = np.hanning(size + 2)[1:-1]
    pieces = fft.fft(wave[np.minimum(starts[:, None] + np.arange(size), len(wave) - 1)] * window, axis=1)
    power = np.abs(pieces) ** 2 / float((window**2).sum())
    noise = np.median(power, axis=0) / np.log(2)
    noise = np.convolve(np.concatenate((noise[-1:], noise, noise[:1])), [0.25, 0.5, 0.25], "valid")
    loud = np.percentile(power, 97, axis=0).max()
    noise = np.maximum(noise, loud * 10 ** (-FLOOR_DB / 10)) + 1e-20
    at = np.arange(len(wave)) * size / len(wave)
    colour = np.exp(0.5 * np.interp(at, np.arange(size + 1), np.log(np.append(noise, noise[0]))))
    white: Waves = fft.ifft(fft.fft(wave) / colour)
    return white, colour


def _track(white: Waves, time_s: Floats, beat_s: Floats) -> tuple[Floats, Floats]:
    """Return how long after each beat its sound falls [s] and how strongly neighbours share a sound there."""
    first, last = round(LAG_S[0] * FRAMES_PER_S), round(LAG_S[1] * FRAMES_PER_S)
    slack, half = round(SLACK_S * FRAMES_PER_S), round(WINDOW_S * FRAMES_PER_S)
    reach = np.arange(first - half - slack, last + half + slack + 1)
    at = np.searchsorted(time_s, beat_s)
    piece = white[np.clip(at[:, None] + reach, 0, len(white) - 1)]
    window = np.hanning(2 * half + 3)[1:-1]
    inner = piece[:, slack : len(reach) - slack]

    def along(products: Waves) -> Waves:
        from scipy.ndimage import convolve1d

        summed: Waves = convolve1d(products, window, axis=1, mode="constant")[:, half:-half]
        return summed

    score = np.zeros((len(beat_s), last - first + 1))
    for step in (1, 2):
        if len(beat_s) <= step:
            continue
        best = np.zeros((len(beat_s) - step, score.shape[1]))
        for lag in range(0, 2 * slack + 1, 1):
            other = piece[step:, lag : lag + inner.shape[1]]
            best = np.maximum(best, np.abs(along(inner[:-step] * other.conj())))
        score[:-step] += best / step
        score[step:] += best / step
    score = score / (np.median(score) + TINY)
    gain = np.log1p(np.maximum(score - 1, 0) / 3)
    path = _path(gain)
    strength = score[np.arange(len(gain)), path]
    return (first + path) / FRAMES_PER_S, strength


def _path(gain: Floats) -> NDArray[np.int64]:
    steps = round(FARTHEST_LAG_S * FRAMES_PER_S)
    moves = np.arange(-steps, steps + 1)
    price = 0.5 * ((moves + LAG_DRIFT_S * FRAMES_PER_S) / (LAG_STEP_S * FRAMES_PER_S)) ** 2
    total = gain[0].copy()
    back = np.zeros(gain.shape, dtype=int)
    width = gain.shape[1]
    for now in range(1, len(gain)):
        padded = np.pad(total, steps, constant_values=-1e9)
        choice = np.stack([padded[steps + move : steps + move + width] - price[i] for i, move in enumerate(moves)])
        back[now] = moves[np.argmax(choice, axis=0)]
        total = choice.max(axis=0) + gain[now]
    place = int(np.argmax(total))
    path = np.empty(len(gain), dtype=int)
    for now in range(len(gain) - 1, -1, -1):
        path[now] = place
        place = int(np.clip(place + back[now][place], 0, width - 1))
    return path


def _templates(white: Waves, time_s: Floats, at_s: Floats, strength: Floats) -> list[Waves]:
    """Return what the sounds of the upper, middle and lower range are like: the mean of the strong ones, each laid on
    the others where it fits best, and weighted by how well it fits."""
    half, slack = round(HALF_S * FRAMES_PER_S), round(SLACK_S * FRAMES_PER_S)
    at = np.searchsorted(time_s, at_s)
    reach = np.arange(-half - slack, half + slack + 1)
    piece = white[np.clip(at[:, None] + reach, 0, len(white) - 1)]
    shifted = np.lib.stride_tricks.sliding_window_view(piece, 2 * half + 1, axis=1)
    weight = np.sqrt(strength * (strength > WEAK * np.percentile(strength, 90)))
    run = np.cumsum(weight) / weight.sum()
    found = []
    for low, high in THIRDS:
        part = np.flatnonzero((run > low) & (run <= high) & (weight > 0))
        if len(part) == 0:
            part = np.array([int(np.argmax(weight))])
        template = shifted[part[int(np.argmax(weight[part]))], slack]
        for _ in range(2):
            like = shifted[part] @ template.conj()
            lag = np.argmax(np.abs(like), axis=1)
            rows = np.arange(len(part))
            total = (shifted[part, lag] * like[rows, lag].conj()[:, None]).sum(axis=0)
            template = total / (np.linalg.norm(total) + TINY)
        found.append(template)
    return found
