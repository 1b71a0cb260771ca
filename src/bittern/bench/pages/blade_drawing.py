"""The old key with its measured outline over the ideal one and each cut labelled: numbers for SVG."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bittern.engines.blade.bitting import count_edges
from bittern.engines.blade.measurement import Floats, Trace
from bittern.engines.blade.soundness import get_edge_height_mm
from bittern.engines.blade.standard import BladeStandard
from bittern.work.blade_record import BladeReading

LABEL_MM = 2.2
NUMBER_MM = 1.5
RING_MM = 1.2
OUTSIDE_MM = 1.2
INSIDE_MM = 2.1
MOST_POINTS = 500
STEP_HIGH_MM = 4.5
"""A loss of one depth step is drawn so high: at the picture's own scale wear is a pixel or two."""
LOSS_ABOVE_STEPS, LOSS_BELOW_STEPS = 0.45, 1.15
LOSS_SMOOTH_MM = 0.4


@dataclass(frozen=True, slots=True)
class CutMark:
    """One cut in the picture: its depth outside the blade, its number inside, a ring at a doubtful root."""

    name: str
    label: str
    x: str
    y: str
    root_x: str
    root_y: str
    number_y: str
    doubtful: bool


@dataclass(frozen=True, slots=True)
class LossDrawing:
    """What each edge has lost since the factory, enlarged, under the picture place by place.

    ``rules`` are lines of equal loss: where, and in words.
    """

    height: str
    lines: tuple[tuple[int, str], ...]
    rules: tuple[tuple[str, str], ...]

    @property
    def two(self) -> bool:
        """Whether both edges are drawn."""
        return len({edge for edge, _ in self.lines}) > 1


@dataclass(frozen=True, slots=True)
class KeyDrawing:
    """The picture and what is drawn over it, all in mm of the blade; ``turn`` is the picture's transform."""

    address: str
    width: str
    height: str
    turn: str
    measured: tuple[str, ...]
    ideal: tuple[str, ...]
    marks: tuple[CutMark, ...]
    a_above: bool
    ring: str
    label_size: str
    number_size: str
    loss: LossDrawing
    stages: tuple[tuple[str, tuple[str, ...]], ...]


def draw_key(reading: BladeReading, standard: BladeStandard) -> KeyDrawing | None:
    """Return the drawing of a reading; None where it has no outline."""
    fit = reading.measurement.fit
    if fit is None:
        return None
    scale = abs(float(reading.picture_frame[0, 0]))
    width, height = reading.picture_size[0] / scale, reading.picture_size[1] / scale
    from_flat = _find_place(reading, scale)
    # From left to right as the bitting is written, whichever way the key lay: turned, and never mirrored.
    turned = (from_flat[:, :2] @ fit.to_picture[:, 0])[0] < 0
    if turned:
        from_flat = np.array([[-1.0, 0.0, width], [0.0, -1.0, height]]) @ _add_row(from_flat)
    place = from_flat @ _add_row(fit.to_picture)
    measured, ideal = [], []
    for trace in fit.traces:
        measured += _draw_line(place, trace, trace.measured_mm)
        ideal += _draw_line(place, trace, trace.ideal_mm)
    return KeyDrawing(
        address="data:image/jpeg;base64," + base64.b64encode(reading.picture).decode(),
        width=f"{width:.2f}",
        height=f"{height:.2f}",
        turn=f"rotate(180 {width / 2:.3f} {height / 2:.3f})" if turned else "",
        measured=tuple(measured),
        ideal=tuple(ideal),
        marks=tuple(_mark_cuts(reading, standard, place)),
        a_above=bool(place[1, 1] < 0),
        ring=f"{RING_MM:g}",
        label_size=f"{LABEL_MM:g}",
        number_size=f"{NUMBER_MM:g}",
        loss=_draw_loss(fit.traces, standard, place),
        stages=tuple(
            (stage.title, tuple(part for line in stage.lines for part in _join(*(from_flat @ _stand(line)))))
            for stage in reading.stages
        ),
    )


def _find_place(reading: BladeReading, scale: float) -> Floats:
    """Return the map from pixels of the flat picture to mm of the drawing."""
    from_flat = np.linalg.inv(_add_row(reading.silhouette.to_picture))
    found: Floats = reading.picture_frame @ from_flat
    # The middle of the upper left pixel is (0, 0) there, and half a pixel inside the drawing here.
    found[:, 2] += 0.5
    return found / scale


def _add_row(affine: Floats) -> Floats:
    return np.vstack([affine, [0.0, 0.0, 1.0]])


def _stand(points: Floats) -> Floats:
    return np.vstack([points.T, np.ones(len(points))])


def _draw_line(place: Floats, trace: Trace, heights: Floats) -> list[str]:
    """Return polylines through the points of one edge, broken where nothing was seen."""
    step = max(1, len(trace.x_mm) // MOST_POINTS)
    x, h = trace.x_mm[::step], heights[::step] * (-1.0 if trace.edge else 1.0)
    columns, rows = place @ np.vstack([x, h, np.ones_like(x)])
    return _join(columns, rows)


def _join(columns: Floats, rows: Floats) -> list[str]:
    lines: list[str] = []
    run: list[str] = []
    for column, row in zip(columns, rows, strict=True):
        if np.isfinite(row):
            run.append(f"{column:.3f},{row:.3f}")
            continue
        lines += [" ".join(run)] if len(run) > 1 else []
        run = []
    return [*lines, " ".join(run)] if len(run) > 1 else lines


def _draw_loss(traces: Sequence[Trace], standard: BladeStandard, place: Floats) -> LossDrawing:
    depths = standard.depths_mm
    step_mm = abs(depths[0] - depths[-1]) / max(1, len(depths) - 1)
    zero = LOSS_ABOVE_STEPS * STEP_HIGH_MM
    lines: list[tuple[int, str]] = []
    for trace in traces:
        lost = _smooth(trace.ideal_mm - trace.measured_mm, trace.x_mm) / step_mm
        rows = zero + STEP_HIGH_MM * np.clip(lost, -LOSS_ABOVE_STEPS, LOSS_BELOW_STEPS)
        columns = (place @ np.vstack([trace.x_mm, np.zeros_like(lost), np.ones_like(lost)]))[0]
        lines += [(trace.edge, points) for points in _join(columns, rows)]
    words = ((0.0, "0"), (0.5, "½ step"), (1.0, "1 step"))
    return LossDrawing(
        height=f"{zero + LOSS_BELOW_STEPS * STEP_HIGH_MM:.2f}",
        lines=tuple(lines),
        rules=tuple((f"{zero + steps * STEP_HIGH_MM:.2f}", word) for steps, word in words),
    )


def _smooth(values: Floats, x_mm: Floats) -> Floats:
    """Return running medians: on a flank a place that is off by little looks like a loss of as much."""
    spacing = float(np.median(np.abs(np.diff(x_mm)))) if len(x_mm) > 1 else LOSS_SMOOTH_MM
    half = max(1, round(LOSS_SMOOTH_MM / 2 / max(spacing, 1e-6)))
    padded = np.pad(values, half, constant_values=np.nan)
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    found = np.full(len(values), np.nan)
    some = np.isfinite(windows).sum(axis=1) > half
    found[some] = np.nanmedian(windows[some], axis=1)
    return found


def _mark_cuts(reading: BladeReading, standard: BladeStandard, place: Floats) -> Sequence[CutMark]:
    count = len(standard.positions_mm)
    top = get_edge_height_mm(standard) + OUTSIDE_MM
    marks = []
    for number, cut in enumerate(reading.measurement.cuts):
        edge, index = divmod(number, count)
        sign = -1.0 if edge and count_edges(standard) == 2 else 1.0
        x = standard.positions_mm[index]
        root = cut.depth_mm if cut.depth_mm is not None else standard.depths_mm[len(standard.depths_mm) // 2]
        label_x, label_y = place @ np.array([x, sign * top, 1.0])
        # Text stands on its line: below the blade it starts lower by its own height.
        label_y += LABEL_MM * 0.7 if label_y > (place @ np.array([x, 0.0, 1.0]))[1] else 0.0
        number_y = (place @ np.array([x, sign * (root - INSIDE_MM), 1.0]))[1] + NUMBER_MM * 0.35
        root_x, root_y = place @ np.array([x, sign * root, 1.0])
        marks.append(
            CutMark(
                name=cut.name,
                label=cut.label,
                x=f"{label_x:.3f}",
                y=f"{label_y:.3f}",
                root_x=f"{root_x:.3f}",
                root_y=f"{root_y:.3f}",
                number_y=f"{number_y:.3f}",
                doubtful=bool(cut.doubt),
            )
        )
    return marks
