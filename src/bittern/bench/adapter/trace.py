"""The supply voltage of the last minutes as a drawing: numbers on lines, told apart without colour."""

from __future__ import annotations

from collections.abc import Sequence

from django.utils.safestring import SafeString, mark_safe

from bittern.engines.link.supply import SupplyLimits, SupplySample

SPAN_S = 300.0
GAP_S = 5.0
"""Between readings that are further apart nothing is known, and no line is drawn."""
WIDTH, HEIGHT = 360, 170
LEFT, RIGHT, TOP, BOTTOM = 46.0, 352.0, 10.0, 140.0
ROOM_V = 0.4
NEAR = 14.0


def draw_trace(samples: Sequence[SupplySample], limits: SupplyLimits) -> SafeString:
    """Return an ``<svg>`` of the readings before now (times below 0) between the limits."""
    shown = [sample for sample in samples if -SPAN_S <= sample.at_s <= 0]
    volts = [sample.volts for sample in shown]
    low = min([limits.least_v - ROOM_V, *(v - ROOM_V / 2 for v in volts)])
    high = max([limits.comfort_v + ROOM_V, *(v + ROOM_V / 2 for v in volts)])

    def place(sample: SupplySample) -> tuple[float, float]:
        return RIGHT + sample.at_s / SPAN_S * (RIGHT - LEFT), level(sample.volts)

    def level(value: float) -> float:
        return BOTTOM - (value - low) / (high - low) * (BOTTOM - TOP)

    words = _describe(shown, limits)
    parts = [
        f'<svg class="trace" viewBox="0 0 {WIDTH} {HEIGHT}" role="img" aria-label="{words}">',
        f'<path class="trace-frame" d="M{LEFT} {TOP}V{BOTTOM}H{RIGHT}"/>',
        *_draw_limit("least", limits.least_v, level(limits.least_v)),
    ]
    if level(limits.least_v) - level(limits.comfort_v) >= NEAR:
        parts += _draw_limit("comfort", limits.comfort_v, level(limits.comfort_v))
    for run in _split([sample for sample in shown if sample.source == "measured"]):
        points = [place(sample) for sample in run]
        parts.append(
            f'<polyline class="trace-line" points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in points)}"/>'
        )
        x, y = points[-1]
        parts.append(f'<circle class="trace-end" cx="{x:.1f}" cy="{y:.1f}" r="3"/>')
    for sample in shown:
        if sample.source == "typed":
            x, y = place(sample)
            parts.append(
                f'<rect class="trace-typed" x="{x - 4.5:.1f}" y="{y - 4.5:.1f}" width="9" height="9"/>'
            )
    parts += [
        f'<text class="trace-word" x="{LEFT}" y="{BOTTOM + 18}">{SPAN_S / 60:.0f} min ago</text>',
        f'<text class="trace-word trace-right" x="{RIGHT}" y="{BOTTOM + 18}">now</text>',
        "</svg>",
    ]
    # Numbers only: nothing that somebody typed stands in it as text.
    return mark_safe("".join(parts))  # noqa: S308


def _draw_limit(name: str, volts: float, y: float) -> list[str]:
    return [
        f'<path class="trace-{name}" d="M{LEFT} {y:.1f}H{RIGHT}"/>',
        f'<text class="trace-word trace-right" x="{LEFT - 5}" y="{y + 4:.1f}">{volts:.1f} V</text>',
    ]


def _split(samples: Sequence[SupplySample]) -> list[list[SupplySample]]:
    """Return the readings in runs without a gap.

    >>> [len(run) for run in _split([SupplySample(at_s, 12.0) for at_s in (-9.0, -8.0, -1.0)])]
    [2, 1]
    """
    runs: list[list[SupplySample]] = []
    for sample in samples:
        if not runs or sample.at_s - runs[-1][-1].at_s > GAP_S:
            runs.append([])
        runs[-1].append(sample)
    return runs


def _describe(shown: Sequence[SupplySample], limits: SupplyLimits) -> str:
    if not shown:
        return "Supply voltage: no reading in the last 5 minutes"
    lowest = min(sample.volts for sample in shown)
    return (
        f"Supply voltage of the last 5 minutes: now {shown[-1].volts:.2f} V, lowest {lowest:.2f} V; "
        f"too low below {limits.least_v:.1f} V"
    )
