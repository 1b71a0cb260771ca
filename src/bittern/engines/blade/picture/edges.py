"""Edges to a tenth of a pixel: a blurred step is fitted along lines that cross the edge.

Notes
-----
Model of one line across the edge: ``low + height * Phi((x - place) / blur)`` plus white noise, sampled
every pixel; ``Phi`` is the normal distribution's integral. Levels and place are free on every line, so uneven
light, shadow and reflections cost no bias; the blur is one number for a whole edge. The place's standard
deviation is the Cramer-Rao bound of that model, ``noise / height * sqrt(2 sqrt(pi) blur)`` (Kay, Fundamentals
of Statistical Signal Processing: Estimation Theory, chapter 3; pixels, one line a pixel). Levels and place
are uncorrelated by symmetry, so not knowing the levels costs nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Grey = NDArray[np.uint8]


SLANT_PX = 7
"""Pixels beyond the blur from which the grey's slant is taken."""


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Where lines cross an edge.

    Attributes
    ----------
    offset_px
        Shape (n,): the edge along the outward direction from the base points; NaN where none was found.
    sd_px
        Shape (n,): from noise and contrast alone.
    contrast
        Shape (n,): grey outside minus inside.
    blur_px
        Standard deviation of the blur across the edge (square to it).
    noise
        Median standard deviation of the grey levels about the model.
    dropped
        How many lines were left out because something else, such as dust, lies there.
    """

    offset_px: Floats
    sd_px: Floats
    contrast: Floats
    blur_px: float
    noise: float
    dropped: int


def find_crossings(
    grey: Grey,
    base: Floats,
    outward: Floats,
    *,
    reach_px: float,
    pitch_px: float,
    blur_px: float | None = None,
) -> Crossings:
    """Return where an edge near ``base`` is crossed by parallel lines.

    Parameters
    ----------
    base
        Shape (n, 2): (column, row) of points near the edge, in order along it.
    outward
        Shape (2,): unit vector from the body to the ground, the same for all lines.
    reach_px
        How far outside its base point the edge may lie; inside, twice that.
    pitch_px
        Distance of the lines from each other.
    blur_px
        Where it is known from elsewhere; None: found from the lines.
    """
    start = base @ outward
    path = _find_path(grey, base, outward, reach_px, pitch_px)
    slope = _slope(path + start, pitch_px)
    blur = blur_px or _find_blur(grey, base + path[:, None] * outward, outward, slope)
    fit = _fit(grey, base + path[:, None] * outward, outward, blur * np.hypot(1, slope), rounds=4)
    offset = path + np.where(np.abs(fit.place) < 3, fit.place, 0)
    slope = _slope(_running_median(offset + start, 5), pitch_px)
    wide = blur * np.hypot(1, slope)
    fit = _fit(grey, base + offset[:, None] * outward, outward, wide, rounds=3, level_over=60 / pitch_px)
    offset = offset + fit.place
    sd, noise = _find_sd(fit, offset + start, wide, pitch_px)
    bad = (
        _find_bad(fit, pitch_px)
        | (np.abs(offset - path) > 3.5)
        | _find_bumps(offset + start, sd, pitch_px, reach_px)
    )
    bad = _running(np.max, bad.astype(np.float64), 2 * max(1, round(2 / pitch_px)) + 1) > 0
    return Crossings(
        np.where(bad, np.nan, offset),
        np.where(bad, np.nan, sd),
        fit.height,
        blur,
        noise,
        int(bad.sum()),
    )


# The edge to a pixel: the path of steepest grey, joined up.


def _find_path(grey: Grey, base: Floats, outward: Floats, reach_px: float, pitch_px: float) -> Floats:
    """Return offsets of the outermost strong edge that runs on from line to line.

    A path through the strip of lines gains where grey is steep and pays for every pixel it moves against the
    coarse outline: the best one by dynamic programming (transitions with linear cost by running maxima).
    """
    import cv2

    reach = math.ceil(reach_px)
    # Dirt makes the coarse outline too large rather than too small.
    offsets = np.arange(-2 * reach, reach + 1, dtype=np.float64)
    columns = (base[:, :1] + offsets * outward[0]).astype(np.float32)
    rows = (base[:, 1:] + offsets * outward[1]).astype(np.float32)
    strip = cv2.remap(grey, columns, rows, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    smooth = cv2.GaussianBlur(strip.astype(np.float32), (0, 0), sigmaX=1.0, sigmaY=max(0.6, 1.0 / pitch_px))
    levels = np.asarray(smooth, dtype=np.float64)
    steep = np.abs(np.gradient(levels, axis=1))
    ratio = steep / max(float(np.median(steep.max(axis=1))), 0.5)
    # Behind a hair the ground goes on: over half the reach the level hardly changes.
    change = _find_change(levels, max(2, round(reach_px / 2)))
    change /= max(float(np.median(change.max(axis=1))), 0.5)
    lasting = np.clip((change - 0.3) / 0.3, 0.05, 1)
    gain = (np.minimum(ratio / 0.45, 1) + 0.25 * np.minimum(ratio, 2)) * lasting + 0.1 * offsets / reach_px
    return offsets[_best_path(gain, 0.25)]


def _find_change(levels: Floats, count: int) -> Floats:
    """Return by how much the mean over ``count`` pixels ahead differs from that over as many behind."""
    padded = np.pad(levels, ((0, 0), (count, count)), mode="edge")
    total = np.cumsum(np.pad(padded, ((0, 0), (1, 0))), axis=1)
    ahead = total[:, 2 * count + 1 :] - total[:, count + 1 : -count]
    behind = total[:, count : -count - 1] - total[:, : -2 * count - 1]
    return np.asarray(np.abs(ahead - behind) / count)


def _best_path(gain: Floats, toll: float) -> NDArray[np.intp]:
    """Return one index a row that maximises gain minus ``toll`` times all moves."""
    rows, count = gain.shape
    index = np.arange(count)
    came = np.empty((rows, count), dtype=np.intp)
    ramp = toll * index
    total = gain[0].copy()
    for j in range(1, rows):
        up, down = total + ramp, (total - ramp)[::-1]
        best_up, best_down = np.maximum.accumulate(up), np.maximum.accumulate(down)
        from_up = np.maximum.accumulate(np.where(up == best_up, index, 0))
        from_down = (count - 1 - np.maximum.accumulate(np.where(down == best_down, index, 0)))[::-1]
        left, right = best_up - ramp, best_down[::-1] + ramp
        came[j] = np.where(left >= right, from_up, from_down)
        total = np.maximum(left, right) + gain[j]
    path = np.empty(rows, dtype=np.intp)
    path[-1] = int(np.argmax(total))
    for j in range(rows - 1, 0, -1):
        path[j - 1] = came[j, path[j]]
    return path


# The edge to a tenth of a pixel.


@dataclass(frozen=True, slots=True, eq=False)
class _Fit:
    place: Floats
    low: Floats
    height: Floats
    rest: Floats
    """Root mean square of what the model leaves, freed of the smoothing by interpolation."""


def _fit(
    grey: Grey, base: Floats, outward: Floats, wide: Floats, *, rounds: int, level_over: float = 0.0
) -> _Fit:
    """Fit place, low and height on every line; ``wide`` is the blur along the line.

    With ``level_over`` lines the grey's slant on either side (a shadow, a stain) is taken away first: found
    beyond the blur, the same over so many lines.
    """
    half = _half(wide)
    x, value, kept = _read_lines(grey, base, outward, half + (SLANT_PX if level_over else 0))
    if level_over:
        for side in (-1.0, 1.0):
            slant = _running_median(_find_slant(x * side, value, wide), round(level_over) | 1)
            z = x * side / wide[:, None]
            ramp = wide[:, None] * (z * normal_integral(z) + np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi))
            value = value - slant[:, None] * ramp
    return _fit_lines(x, value, kept, wide, rounds=rounds)


def _find_slant(x: Floats, value: Floats, wide: Floats) -> Floats:
    """Return the grey's rise a pixel from just beyond the blur outward, shape (n,)."""
    start = 2.0 * wide[:, None]
    use = ((x >= start) & (x <= start + SLANT_PX)).astype(np.float64)
    count = np.maximum(use.sum(axis=1), 1)[:, None]
    d = use * (x - (use * x).sum(axis=1)[:, None] / count)
    return np.asarray((d * value).sum(axis=1) / np.maximum((d * x).sum(axis=1), 1e-9))


def _half(wide: Floats) -> Floats:
    """Return how much of a line is used to either side: little, for what lies further in is another edge."""
    return np.asarray(np.clip(2.6 * wide + 1.5, 3.0, 14.0))


def _read_lines(grey: Grey, base: Floats, outward: Floats, half: Floats) -> tuple[Floats, Floats, Floats]:
    reach = math.ceil(float(half.max()))
    x = np.arange(-reach, reach + 1, dtype=np.float64)
    return x, *sample(grey, base[:, :1] + x * outward[0], base[:, 1:] + x * outward[1])


def _fit_lines(x: Floats, value: Floats, kept: Floats, wide: Floats, *, rounds: int) -> _Fit:
    """Fit by Gauss-Newton; the levels are eliminated, so the place moves as in the joint fit."""
    half = _half(wide)
    place = np.zeros(value.shape[0])
    low = height = rest = place
    for _ in range(rounds):
        use = (np.abs(x - place[:, None]) <= half[:, None] + 0.5).astype(np.float64)
        low, height, move, rest = _solve(value, x, use, place, wide)
        place = np.clip(place + np.clip(move, -1.0, 1.0), -4.0, 4.0)
    return _Fit(place, low, height, rest / np.sqrt(kept))


def _solve(
    value: Floats, x: Floats, use: Floats, place: Floats, wide: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return levels, the move of the places, and the spread about the model, for one round."""
    z = (x - place[:, None]) / wide[:, None]
    step = normal_integral(z)
    count = use.sum(axis=1)
    mean_step, mean_value = (use * step).sum(1) / count, (use * value).sum(1) / count
    d = use * (step - mean_step[:, None])
    square = np.maximum((d * step).sum(1), 1e-9)
    height = (d * value).sum(1) / square
    low = mean_value - height * mean_step
    rest = use * (value - low[:, None] - height[:, None] * step)
    safe = np.where(np.abs(height) < 1e-3, 1e-3, height) / (math.sqrt(2 * math.pi) * wide)
    slope = -use * np.exp(-0.5 * z * z) * safe[:, None]
    slope -= use * (slope.sum(1) / count)[:, None] + d * ((d * slope).sum(1) / square)[:, None]
    move = (slope * rest).sum(1) / np.maximum((slope * slope).sum(1), 1e-9)
    left = rest - slope * move[:, None]
    return low, height, move, np.sqrt((left * left).sum(1) / np.maximum(count - 3, 1))


def _find_blur(grey: Grey, base: Floats, outward: Floats, slope: Floats) -> float:
    """Return the blur square to the edge, in pixels: the one that leaves the smallest misfit."""
    pick = np.unique(np.linspace(0, len(base) - 1, min(len(base), 300)).astype(int))
    tilt = np.hypot(1, slope[pick])
    trial = np.array([0.35, 0.5, 0.7, 0.9, 1.15, 1.45, 1.8, 2.3, 3.0, 4.0])
    x, value, kept = _read_lines(grey, base[pick], outward, _half(trial[-1] * tilt))
    rest = np.stack([_fit_lines(x, value, kept, b * tilt, rounds=4).rest for b in trial])
    # Every line votes; dust and corners are outvoted.
    score = np.median(rest, axis=1)
    best = int(np.argmin(score))
    if 0 < best < len(trial) - 1:
        x, y = np.log(trial[best - 1 : best + 2]), score[best - 1 : best + 2] ** 2
        curve = np.polyfit(x - x[1], y, 2)
        if curve[0] > 0:
            return float(trial[best] * math.exp(float(np.clip(-curve[1] / (2 * curve[0]), -0.25, 0.25))))
    return float(trial[best])


def _find_sd(fit: _Fit, height_px: Floats, wide: Floats, pitch_px: float) -> tuple[Floats, float]:
    """Return each place's standard deviation and the typical noise.

    The bound for white noise, raised where neighbouring places scatter more than it says (noise that runs
    over several pixels, as in compressed photos).
    """
    width = max(5, round(24 / pitch_px) | 1)
    noise = np.maximum(_running_median(fit.rest, width), 0.3)
    sd = noise / np.maximum(np.abs(fit.height), 1.0) * np.sqrt(2 * math.sqrt(math.pi) * wide)
    scatter = _find_scatter(height_px, sd, pitch_px)
    if scatter > 1.15:
        sd = sd * min(scatter, 3.0)
    return sd, float(np.median(noise))


def _find_scatter(height_px: Floats, sd: Floats, pitch_px: float) -> float:
    """Return how many times ``sd`` the heights scatter about short parabolas, where they are calmest.

    Corners of the profile lie in most of the stretches, so the quietest quarter is asked; of stretches that
    hold noise alone its mean square is that of a chi-square's lower quartile (Wilson and Hilferty 1931).
    """
    stride = max(1, round(1 / pitch_px))
    count = 9
    if len(height_px) < 4 * count * stride:
        return 1.0
    basis = np.linalg.qr(np.vander(np.linspace(-1, 1, count), 3))[0]
    windows = np.lib.stride_tricks.sliding_window_view(height_px[::stride], count)
    scale = np.lib.stride_tricks.sliding_window_view(sd[::stride] ** 2, count).mean(axis=1)
    rest = windows - (windows @ basis) @ basis.T
    free = count - 3
    quartile = (1 - 2 / (9 * free) - 0.6745 * math.sqrt(2 / (9 * free))) ** 3
    return math.sqrt(float(np.percentile((rest**2).sum(axis=1) / scale / free, 25)) / quartile)


def _find_bad(fit: _Fit, pitch_px: float) -> NDArray[np.bool_]:
    """Return the lines on which something else than the edge was measured."""
    wide = max(9, round(40 / pitch_px) | 1)
    height = _running_median(fit.height, wide)
    rest = _running_median(fit.rest, wide)
    low = _running_median(fit.low, wide)
    bad = np.abs(fit.height) < np.maximum(0.35 * np.abs(height), 4.0)
    bad |= fit.rest > 3.5 * rest + 1.0
    # x runs outward, so the ground is the upper level: smooth but for dust.
    ground = low + height
    return bad | (np.abs(fit.low + fit.height - ground) > 6 * rest + 0.12 * np.abs(height))


def _find_bumps(height_px: Floats, sd: Floats, pitch_px: float, reach_px: float) -> NDArray[np.bool_]:
    """Return lines where the outline stands out, or in, narrowly, as with a speck on the edge.

    A speck stands out as much over its own width as over twice that; a ridge between two cuts is wider the
    further down one looks, so it stands out more.
    """
    bad = np.zeros(len(height_px), bool)
    for side in (1.0, -1.0):
        for width_px in (0.16 * reach_px, 0.3 * reach_px, 0.55 * reach_px):
            count = round(max(width_px, min(5.0, 0.75 * reach_px)) / pitch_px) | 1
            narrow, wide = (_stand_out(side * height_px, n) for n in (count, 2 * count - 1))
            bad |= (narrow > 0.35 + 5 * np.minimum(sd, 1.0)) & (wide < 1.35 * narrow)
    return bad


def _stand_out(height: Floats, count: int) -> Floats:
    """Return by how much the heights stand out of what a bar of ``count`` lines fits under."""
    return height - _running(np.max, _running(np.min, height, count), count)


# Numerical parts.


def sample(grey: Grey, column: Floats, row: Floats) -> tuple[Floats, Floats]:
    """Return grey at sub-pixel places (cubic convolution, a = -1/2; Keys 1981), shape as given.

    The second value, shape (n,), is the share of white noise's variance that the interpolation lets through,
    the mean over each line.
    """
    rows, columns = grey.shape
    c0, r0 = np.floor(column), np.floor(row)
    wc, wr = _weights(column - c0), _weights(row - r0)
    ci = np.clip(c0.astype(np.intp)[None] + np.arange(-1, 3)[:, None, None], 0, columns - 1)
    ri = np.clip(r0.astype(np.intp)[None] + np.arange(-1, 3)[:, None, None], 0, rows - 1)
    out = np.zeros(column.shape)
    for i in range(4):
        line = np.zeros(column.shape)
        for j in range(4):
            line += wc[j] * grey[ri[i], ci[j]]
        out += wr[i] * line
    kept = (wc**2).sum(axis=0) * (wr**2).sum(axis=0)
    return out, kept.mean(axis=1)


def _weights(t: Floats) -> Floats:
    t2, t3 = t * t, t * t * t
    return np.stack(
        [-0.5 * t3 + t2 - 0.5 * t, 1.5 * t3 - 2.5 * t2 + 1, -1.5 * t3 + 2 * t2 + 0.5 * t, 0.5 * (t3 - t2)]
    )


def normal_integral(z: Floats) -> Floats:
    """Return Phi(z), error below 1e-7 (Abramowitz and Stegun 7.1.26)."""
    x = np.abs(z) / math.sqrt(2)
    t = 1 / (1 + 0.3275911 * x)
    series = t * (0.254829592 + t * (-0.284496736 + t * (1.421413741 + t * (-1.453152027 + t * 1.061405429))))
    tail = 0.5 * series * np.exp(-x * x)
    return np.where(z >= 0, 1 - tail, tail)


def _slope(height: Floats, pitch_px: float) -> Floats:
    """Return the rise of the edge along its lines, smoothed over a few pixels."""
    if len(height) < 5:
        return np.zeros(len(height))
    far = max(2, round(3 / pitch_px))
    padded = np.pad(height, far, mode="edge")
    span = np.full(len(height), 2.0 * far)
    span[:far] -= far - np.arange(far)[: len(height)][:far]
    span[-far:] -= np.arange(1, far + 1)
    rise = (padded[2 * far :] - padded[: -2 * far]) / (span * pitch_px)
    return np.clip(rise, -4, 4)


def _running(reduce, values: Floats, count: int) -> Floats:  # type: ignore[no-untyped-def]
    half = count // 2
    windows = np.lib.stride_tricks.sliding_window_view(np.pad(values, half, mode="edge"), 2 * half + 1)
    return np.asarray(reduce(windows, axis=1), dtype=np.float64)


def _running_median(values: Floats, count: int) -> Floats:
    return _running(np.median, values, min(count, max(1, len(values) // 2 * 2 - 1)))
