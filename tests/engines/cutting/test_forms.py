"""What a form removes along a stroke, in closed form, is what its places remove when they are tried."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.cutting.cutter import Cutter
from bittern.engines.cutting.forms import DiscForm, Form, WheelForm, get_form, list_bites
from bittern.engines.cutting.motion import Frame, Motion, Move
from bittern.engines.cutting.strokes import Floats, Stroke, list_strokes, tabulate

PLACES = 4001
FRAME = Frame((0, 1, 2), (1, 1, 1), (0.0, 0.0, 0.0), "end-centre")
lengths = st.floats(-3, 3)
forms = st.one_of(
    st.floats(0.2, 2.0).map(DiscForm),
    st.builds(WheelForm, st.floats(0, 1.0), st.floats(0.5, 2.0)),
)


@st.composite
def moves(draw: st.DrawFn) -> Move:
    """Return a line or an arc of any turn."""
    start = (draw(lengths), draw(lengths), 0.0)
    if draw(st.booleans()):
        return Move(1, False, start, (draw(lengths), draw(lengths), 0.0))
    radius, angle, turn = draw(st.floats(0.05, 3)), draw(st.floats(0, 6.28)), draw(st.floats(0.01, 6.27))
    clockwise = draw(st.booleans())
    centre = (start[0] - radius * math.cos(angle), start[1] - radius * math.sin(angle))
    last = angle + (-turn if clockwise else turn)
    end = (centre[0] + radius * math.cos(last), centre[1] + radius * math.sin(last), 0.0)
    return Move(1, False, start, end, centre, clockwise)


def walk(move: Move) -> Floats:
    """Return many places of a move, rows of x and h, from its own description."""
    share = np.linspace(0, 1, PLACES)
    if move.centre is None:
        return np.outer(1 - share, move.start[:2]) + np.outer(share, move.end[:2])
    (x0, h0), (x1, h1), (x, h) = move.start[:2], move.end[:2], move.centre
    first, last = math.atan2(h0 - h, x0 - x), math.atan2(h1 - h, x1 - x)
    turn = (first - last if move.clockwise else last - first) % (2 * math.pi)
    angles = first + (-turn if move.clockwise else turn) * share
    radius = math.hypot(x0 - x, h0 - h)
    return np.column_stack([x + radius * np.cos(angles), h + radius * np.sin(angles)])


def try_places(form: Form, places: Floats, x_mm: float, *, rim_mm: float) -> tuple[float, float]:
    """Return the lowest and highest height that the form removes at one x from any of the places."""
    across = x_mm - places[:, 0]
    if isinstance(form, WheelForm):
        rise = np.maximum(0, abs(across) - form.half_flat_mm) * form.slope
        return float((places[:, 1] + rise).min()), math.inf
    assert isinstance(form, DiscForm)
    near = abs(across) <= form.radius_mm + rim_mm
    if not near.any():
        return math.inf, -math.inf
    half = np.sqrt(np.maximum(0, form.radius_mm**2 - across[near] ** 2))
    return float((places[near, 1] - half).min()), float((places[near, 1] + half).max())


@settings(max_examples=300, deadline=None)
@given(forms, moves(), lengths)
def test_the_closed_form_is_what_many_places_remove(form: Form, move: Move, x_mm: float) -> None:
    strokes = list_strokes(Motion(FRAME, (move,), ended=True))
    low, high = math.inf, -math.inf
    for bite in list_bites(form, tabulate(strokes), np.array([x_mm]), 1e3):
        low, high = min(low, float(bite.low_mm[0])), max(high, float(bite.high_mm[0]))
    # Whether a rim that only touches x takes something there is a matter of rounding: both may be.
    tried_low, tried_high = try_places(form, walk(move), x_mm, rim_mm=-1e-9)
    # Places that are tried never remove more than the whole stroke; it removes little more than they do:
    # between two of them, 0.005 mm apart, a disc's rim is at most sqrt(2 r 0.005) high.
    assert low <= tried_low + 1e-9
    assert high >= tried_high - 1e-9
    step = np.abs(np.diff(walk(move), axis=0)).max()
    rim = math.sqrt(2 * form.radius_mm * step) + 2 * step if isinstance(form, DiscForm) else 3 * step
    tried_low, tried_high = try_places(form, walk(move), x_mm, rim_mm=1e-9)
    if math.isfinite(tried_low):
        assert tried_low - low <= rim + 1e-9
        assert high - tried_high <= rim + 1e-9 or math.isinf(high)


def test_a_full_circle_is_swept_whole() -> None:
    move = Move(1, False, (1.0, 0.0, 0.0), (1.0, 0.0, 0.0), (0.0, 0.0), clockwise=True)
    strokes = list_strokes(Motion(FRAME, (move,), ended=True))
    assert sum(stroke.length_mm for stroke in strokes) == pytest.approx(2 * math.pi)
    x = np.array([-1.25, 0.0, 0.7])
    low = np.full(3, np.inf)
    for bite in list_bites(DiscForm(0.5), tabulate(strokes), x, 1e3):
        low[bite.columns] = np.minimum(low[bite.columns], bite.low_mm)
    assert low == pytest.approx(-np.sqrt(1.5**2 - x**2))


@pytest.mark.parametrize("clockwise", [True, False])
@pytest.mark.parametrize("signs", [(1, 1), (-1, 1), (1, -1), (-1, -1)])
@pytest.mark.parametrize("axes", [(0, 1, 2), (1, 0, 2)])
def test_an_arc_keeps_its_sense_in_every_frame(
    axes: tuple[int, int, int], signs: tuple[int, int], clockwise: bool
) -> None:
    frame = Frame(axes, (*signs, 1), (3.0, -2.0, 1.0), "end-centre")
    move = Move(1, False, (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0), clockwise)
    strokes = list_strokes(Motion(frame, (move,), ended=True))
    turn = 3 * math.pi / 2 if clockwise else math.pi / 2
    assert sum(abs(stroke.turn) for stroke in strokes) == pytest.approx(turn)
    middle = walk(move)[PLACES // 2]
    way = [place for stroke in strokes for place in (stroke.get_place(s) for s in np.linspace(0, 1, 201))]
    wanted = frame.to_blade((float(middle[0]), float(middle[1]), 0.0))
    assert min(math.dist(wanted, place) for place in way) < 0.02


@pytest.mark.parametrize("axes", [(0, 2, 1), (2, 1, 0)])
def test_an_arc_across_the_face_becomes_chords_within_their_bound(axes: tuple[int, int, int]) -> None:
    frame = Frame(axes, (1, 1, 1), (0.0, 0.0, 0.0), "end-centre")
    move = Move(1, False, (2.0, 0.0, 0.0), (0.0, 2.0, 0.0), (0.0, 0.0), clockwise=False)
    strokes = list_strokes(Motion(frame, (move,), ended=True))
    radii = [
        math.hypot(*(stroke.get_place(share)[frame.axes.index(axis)] for axis in (0, 1)))
        for stroke in strokes
        for share in (0, 0.5)
    ]
    assert 2 - 0.0002 - 1e-9 <= min(radii) < max(radii) <= 2 + 1e-9


def test_a_form_belongs_to_its_cutter() -> None:
    wheel = get_form(Cutter("w", "wheel", 60.0, 40, "hss", 1.0, 90.0))
    assert isinstance(wheel, WheelForm)
    assert (wheel.half_flat_mm, wheel.slope) == pytest.approx((0.5, 1.0))
    assert get_form(Cutter("m", "endmill", 2.0, 2, "carbide")) == DiscForm(1.0)


def test_the_parts_of_a_stroke_are_the_stroke() -> None:
    stroke = Stroke(0, (1.0, 0.0, -1.0), (0.0, 1.0, -3.0), (0.0, 0.0), 1.0, 0.0, math.pi / 2)
    half = stroke.part(0.25, 0.75)
    assert half.start == pytest.approx((math.cos(math.pi / 8), math.sin(math.pi / 8), -1.5))
    assert half.get_place(0.5) == pytest.approx(stroke.get_place(0.5))
    assert half.length_mm == pytest.approx(stroke.length_mm / 2)
