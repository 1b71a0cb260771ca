"""How well each bitting explains the evidence, with shift, scale, tilt, bias and wear integrated out.

For every bitting the nuisances are fitted by damped Gauss-Newton steps on a Student likelihood (dust and odd
wear count little), then integrated by Laplace's method: the logarithm of the evidence is the best fit's, less
half the logarithm of how much narrower the fit is than what was believed before.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from bittern.engines.blade import worn
from bittern.engines.blade.evidence import Block, Evidence, find_centre, lay_flat
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.blade.worn import NUISANCES, Family

Floats = NDArray[np.float64]

FREEDOM: Final = 6.0
"""Degrees of freedom of the Student likelihood: a residual of five standard deviations pulls like two."""
ROUNDS: Final = 8
LEVELS: Final = (0.0, 0.5, 1.0)
"""Heights between the faces at which a thick blade's outline is followed, in parts of its thickness."""
LENGTH_SD_MM: Final = 0.08
"""Blanks are punched or milled to about a tenth of a millimetre in length (common practice)."""
MEAN_LOSS_STEPS: Final = 0.5
"""Mean loss over the roots beyond which a key hardly works any more (engines.md 3)."""
MOST_LOSS_STEPS: Final = 0.85
"""Loss of the shallowest roots beyond which it does not (engines.md 3)."""


@dataclass(frozen=True, slots=True, eq=False)
class Beliefs:
    """What is believed of the nuisances beforehand: mean, standard deviation and bounds, (NUISANCES,)."""

    mean: Floats
    sd: Floats
    least: Floats
    most: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Fits:
    """Versions fitted: nuisances (versions, NUISANCES), log evidence (versions,), their covariance."""

    theta: Floats
    log_evidence: Floats
    covariance: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Prediction:
    """Predicted samples, their derivatives and what the model leaves unexplained."""

    value: Floats
    slopes: Floats
    sd: Floats


def get_beliefs(standard: BladeStandard, family: Family, evidence: Evidence) -> Beliefs:
    """Return the beliefs about the nuisances; judgement, in one place.

    Notes
    -----
    Nominal scale within 0.4 % (formats.md), taken as two standard deviations; wear from none to half a step
    in the mean over the roots and up to 0.85 step at the shallowest (engines.md 3); the rest common practice.
    """
    step = family.step_mm
    flat_back = standard.sides == "single"
    centre, _ = find_centre(standard, lay_flat(evidence, standard.thickness_mm))
    rows: dict[int, tuple[float, float, float, float]] = {
        worn.SHIFT: (0.0, evidence.place_sd_mm, -1.0, 1.0),
        worn.SCALE: (0.0, 0.002 if evidence.camera is None else 0.001, -0.01, 0.01),
        worn.OFFSET: (centre, 1.0, centre - 2.0, centre + 2.0),
        worn.TILT: (0.0, 0.004, -0.05, 0.05),
        worn.BIAS: (0.0, 0.15 * evidence.resolution_mm + 0.004, -0.2, 0.2),
        worn.AMOUNT: (0.3, 0.5, 0.0, 1.6),
        worn.LOW: (0.15, 0.15, 0.0, 0.7),
        worn.LOG_POWER: (0.3, 0.5, -1.2, 1.7),
        worn.FACING: (0.4, 0.4, -0.3, 2.0),
        worn.UNCUT: (0.2, 0.3, -0.5, 1.5),
        worn.ROUNDING: (0.03, 0.04, 0.0, 0.25),
        worn.BACK: (0.0, 0.06 * step if flat_back else 1e-4, 0.0, 0.3 * step if flat_back else 1e-3),
        worn.LOG_HEIGHT: (0.0, evidence.camera.sd_log_height if evidence.camera else 1e-4, -0.6, 0.6),
    }
    table = np.array([rows[number] for number in range(NUISANCES)])
    return Beliefs(*(np.ascontiguousarray(column) for column in table.T))


def predict(
    standard: BladeStandard, family: Family, evidence: Evidence, theta: Floats, depths_mm: Floats
) -> list[Prediction]:
    """Return what each block should show: ``depths_mm`` has shape (versions, edges, cuts) along the blade."""
    return [_predict_block(standard, family, evidence, theta, depths_mm, block) for block in evidence.blocks]


def _predict_block(
    standard: BladeStandard,
    family: Family,
    evidence: Evidence,
    theta: Floats,
    depths_mm: Floats,
    block: Block,
) -> Prediction:
    if evidence.camera is None:
        return _see(standard, family, evidence, theta, depths_mm, block, 0.0)
    seen = [_see(standard, family, evidence, theta, depths_mm, block, level) for level in LEVELS]
    outer = np.argmax([one.value for one in seen], axis=0)
    value = np.choose(outer, [one.value for one in seen])
    slopes = np.choose(outer[:, :, None], [one.slopes for one in seen])
    sd = np.choose(outer, [one.sd for one in seen])
    nearer = theta.copy()
    nearer[:, worn.LOG_HEIGHT] += 0.01
    moved = np.max(
        [_see(standard, family, evidence, nearer, depths_mm, block, level).value for level in LEVELS], axis=0
    )
    slopes[:, :, worn.LOG_HEIGHT] = (moved - value) / 0.01
    return Prediction(value, slopes, sd)


def _see(
    standard: BladeStandard,
    family: Family,
    evidence: Evidence,
    theta: Floats,
    depths_mm: Floats,
    block: Block,
    level: float,
) -> Prediction:
    """Return the outline of the blade at one height between its faces, as it is seen on the ground."""
    s, grow, foot_out, tip, shoulder = look(standard, evidence, theta, block, level)
    stretch = 1 + theta[:, worn.SCALE, None]
    x = theta[:, worn.SHIFT, None] + stretch * ((shoulder - s) if standard.datum == "shoulder" else (s - tip))
    slopes = np.zeros((*s.shape, NUISANCES))
    middle = evidence.shoulder_mm / 2
    value = block.sign * (theta[:, worn.OFFSET, None] + theta[:, worn.TILT, None] * (s - middle))
    slopes[:, :, worn.OFFSET] = block.sign
    slopes[:, :, worn.TILT] = block.sign * (s - middle)
    if block.edge is None:
        value = value + theta[:, worn.BIAS, None]
        slopes[:, :, worn.BIAS] = 1.0
        sd = np.full(s.shape, 0.02)
    else:
        surface = worn.wear_surface(family, theta, depths_mm[:, block.edge], x)
        height = surface.height_mm - theta[:, worn.BACK, None]
        steep = np.sqrt(1 + np.square(surface.slope))
        value = value + height / stretch + theta[:, worn.BIAS, None] * steep
        for number, column in surface.columns.items():
            slopes[:, :, number] = column
        slopes[:, :, worn.SCALE] = surface.columns[worn.SHIFT] * (x - theta[:, worn.SHIFT, None]) - height
        slopes[:, :, worn.BIAS] = steep
        slopes[:, :, worn.BACK] = -1.0
        sd = worn.scatter(family, surface, standard.tolerance_mm)
    if level:
        value = foot_out + (value - foot_out) * grow
        slopes *= grow[:, :, None]
    return Prediction(value, slopes, sd)


def look(
    standard: BladeStandard, evidence: Evidence, theta: Floats, block: Block, level: float
) -> tuple[Floats, Floats, Floats, Floats, Floats]:
    """Return where on the blade each sample is at a level, its magnification, and the true tip and shoulder.

    The observed planes are those of whichever face stands out; the blade's own lie behind by the shift of
    the face that is nearer to the lens.
    """
    s = np.broadcast_to(block.s_mm, (len(theta), len(block.s_mm)))
    zero = np.zeros((len(theta), 1))
    seen = np.full((len(theta), 1), evidence.shoulder_mm)
    camera = evidence.camera
    if camera is None:
        return s, zero + 1, zero, zero, seen
    height = camera.height_mm * np.exp(theta[:, worn.LOG_HEIGHT, None])
    most = height / (height - standard.thickness_mm)
    foot = camera.foot_s_mm
    tip = np.maximum(0.0, foot * (1 - 1 / most))
    shoulder = np.where(foot > seen, foot + (seen - foot) / most, seen)
    grow = height / (height - level * standard.thickness_mm)
    return foot + (s - foot) / grow, grow, zero + block.sign * camera.foot_h_mm, tip, shoulder


def fit_versions(
    standard: BladeStandard,
    family: Family,
    evidence: Evidence,
    beliefs: Beliefs,
    theta: Floats,
    depths_mm: Floats,
    *,
    rounds: int = ROUNDS,
) -> Fits:
    """Return the best nuisances of each version and its evidence.

    Parameters
    ----------
    theta
        Shape (versions, NUISANCES): where to start.
    depths_mm
        Shape (versions, edges, cuts), root heights along the blade; for edges that carry no cuts none.
    """
    theta = np.clip(theta, beliefs.least, beliefs.most)
    damping = np.full(len(theta), 1e-3)
    score, pull, curve = _weigh(standard, family, evidence, beliefs, theta, depths_mm)
    for _ in range(rounds):
        damped = curve + damping[:, None, None] * np.einsum("vii->vi", curve)[:, :, None] * np.eye(NUISANCES)
        moved = np.clip(
            theta + np.linalg.solve(damped, pull[:, :, None])[:, :, 0], beliefs.least, beliefs.most
        )
        after, after_pull, after_curve = _weigh(standard, family, evidence, beliefs, moved, depths_mm)
        better = after >= score
        theta = np.where(better[:, None], moved, theta)
        pull = np.where(better[:, None], after_pull, pull)
        curve = np.where(better[:, None, None], after_curve, curve)
        gain = np.where(better, after - score, 0.0)
        score = np.where(better, after, score)
        damping = np.where(better, damping / 5, damping * 10)
        if bool(np.all(gain < 1e-3)) and bool(better.any()):
            break
    _, narrowing = np.linalg.slogdet(curve * np.square(beliefs.sd)[:, None])
    return Fits(theta, score - narrowing / 2, np.asarray(np.linalg.inv(curve), dtype=np.float64))


def _weigh(
    standard: BladeStandard,
    family: Family,
    evidence: Evidence,
    beliefs: Beliefs,
    theta: Floats,
    depths_mm: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Return log posterior, its gradient and curvature (positive) for each version."""
    away = (theta - beliefs.mean) / beliefs.sd
    score = -np.square(away).sum(axis=1) / 2
    pull = -away / beliefs.sd
    curve = np.broadcast_to(np.diag(1 / np.square(beliefs.sd)), (len(theta), NUISANCES, NUISANCES)).copy()

    def add(missing: Floats, slopes: Floats, sd: Floats, weight: Floats) -> None:
        nonlocal score, pull
        z2 = np.square(missing / sd)
        held = (FREEDOM + 1) / (FREEDOM + z2) * weight / np.square(sd)
        score = score - (weight * ((FREEDOM + 1) / 2 * np.log1p(z2 / FREEDOM) + np.log(sd))).sum(axis=1)
        pull = pull + np.einsum("vn,vnp->vp", held * missing, slopes)
        curve[:] += np.matmul((slopes * held[:, :, None]).transpose(0, 2, 1), slopes)

    for block, found in zip(
        evidence.blocks, predict(standard, family, evidence, theta, depths_mm), strict=True
    ):
        sd = np.sqrt(np.square(found.sd) + np.square(block.sd_mm) * block.weight)
        add(block.outward_mm - found.value, found.slopes, sd, block.weight)
    add(*_predict_limits(family, theta, depths_mm))
    if evidence.readings:
        add(*_predict_readings(standard, family, evidence, theta, depths_mm))
    if evidence.shoulder_seen:
        add(*_predict_length(standard, evidence, theta))
    return score, pull, curve


def _predict_readings(
    standard: BladeStandard, family: Family, evidence: Evidence, theta: Floats, depths_mm: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return what is missing between single readings and the worn roots."""
    count = len(family.places_mm)
    place = np.argsort(family.order)
    edges = np.array([reading.cut // count for reading in evidence.readings])
    places = place[[reading.cut % count for reading in evidence.readings]]
    slopes = np.zeros((len(theta), len(places), NUISANCES))
    value = np.zeros((len(theta), len(places)))
    sd = np.array([reading.sd_mm for reading in evidence.readings])
    scatter = np.zeros_like(value)
    x = np.broadcast_to(family.places_mm, (len(theta), count))
    for edge in np.unique(edges):
        surface = worn.wear_surface(family, theta, depths_mm[:, edge], x)
        mine = edges == edge
        value[:, mine] = surface.height_mm[:, places[mine]] - theta[:, worn.BACK, None]
        scatter[:, mine] = worn.scatter(family, surface, standard.tolerance_mm)[:, places[mine]]
        for number, column in surface.columns.items():
            if number != worn.SHIFT:
                slopes[:, mine, number] = column[:, places[mine]]
    slopes[:, :, worn.BACK] = -1.0
    read = np.array([reading.height_mm for reading in evidence.readings])
    return read - value, slopes, np.sqrt(np.square(sd) + np.square(scatter)), np.ones(len(places))


def _predict_limits(
    family: Family, theta: Floats, depths_mm: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return by how much the loss over the roots is beyond what keys lose: in the mean, and the greatest."""
    lost, slopes = lose_at_roots(family, theta, depths_mm)
    rows = np.arange(len(theta))
    worst = lost.argmax(axis=1)
    over = np.stack((lost.mean(axis=1) - MEAN_LOSS_STEPS, lost[rows, worst] - MOST_LOSS_STEPS), axis=1)
    steep = np.stack((slopes.mean(axis=1), slopes[rows, worst]), axis=1)
    beyond = over > 0
    return np.where(beyond, -over, 0.0), steep * beyond[:, :, None], np.full(over.shape, 0.05), np.ones(2)


def lose_at_roots(family: Family, theta: Floats, depths_mm: Floats) -> tuple[Floats, Floats]:
    """Return the loss at each root in depth steps, (versions, edges * cuts), and its derivatives."""
    x = np.broadcast_to(family.places_mm, (len(theta), len(family.places_mm)))
    lost, slopes = [], []
    for edge in range(depths_mm.shape[1]):
        surface = worn.wear_surface(family, theta, depths_mm[:, edge], x)
        lost.append(surface.loss_mm + theta[:, worn.BACK, None])
        slope = np.zeros((*x.shape, NUISANCES))
        for number in (worn.AMOUNT, worn.LOW, worn.LOG_POWER, worn.UNCUT):
            slope[:, :, number] = -surface.columns[number]
        slope[:, :, worn.BACK] = 1.0
        slopes.append(slope)
    return np.concatenate(lost, axis=1) / family.step_mm, np.concatenate(slopes, axis=1) / family.step_mm


def _predict_length(
    standard: BladeStandard, evidence: Evidence, theta: Floats
) -> tuple[Floats, Floats, Floats, Floats]:
    """Return what is missing between the blank's length and the distance from tip to shoulder."""
    _, _, _, tip, shoulder = look(standard, evidence, theta, evidence.blocks[0], 1.0)
    long = (shoulder - tip)[:, 0]
    missing = standard.length_mm - long * (1 + theta[:, worn.SCALE])
    slopes = np.zeros((len(theta), 1, NUISANCES))
    slopes[:, 0, worn.SCALE] = long
    return missing[:, None], slopes, np.full((len(theta), 1), LENGTH_SD_MM), np.ones(1)
