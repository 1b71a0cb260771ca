"""Random run sheets."""

from __future__ import annotations

from hypothesis import strategies as st

from bittern.engines.pairing.sheet import (
    CENSUSES,
    OUTCOMES,
    SIGNAL_KINDS,
    STEP_KINDS,
    Failure,
    Option,
    RunSheet,
    Signal,
    Step,
    SupplyNeed,
)

TEXTS = st.text(st.characters(exclude_categories=("Cs", "Cc")), max_size=30)
SAYINGS = st.text(st.characters(exclude_categories=("Cs", "Cc")), min_size=1, max_size=30).filter(str.strip)
TIMES_S = st.one_of(
    st.integers(0, 600).map(float), st.floats(0, 600, allow_nan=False).map(lambda x: round(x, 3))
)


SUPPLIES = st.none() | st.tuples(st.floats(1, 20), st.floats(0, 5)).map(
    lambda pair: SupplyNeed(round(pair[0], 2), round(pair[0] + pair[1], 2))
)


def make_sheet(*steps: Step, start: str = "", **more: object) -> RunSheet:
    """Return a sheet of ``steps`` that starts with the first one."""
    about: dict[str, object] = {
        "id": "heath-pair",
        "title": "Pair a key, heath family",
        "census": "all",
    } | more
    return RunSheet(start=start or steps[0].id, steps={step.id: step for step in steps}, **about)  # type: ignore[arg-type]


@st.composite
def any_sheets(draw: st.DrawFn) -> RunSheet:
    """Sheets of sound form, whose steps need not make sense together."""
    ids = draw(st.lists(SAYINGS, min_size=1, max_size=6, unique=True))
    anywhere = st.one_of(st.sampled_from(ids), SAYINGS)
    chances = st.floats(0, 1)
    steps = {}
    for step_id in ids:
        typical_s = draw(TIMES_S)
        steps[step_id] = Step(
            id=step_id,
            kind=draw(st.sampled_from(STEP_KINDS)),
            say=draw(TEXTS),
            typical_s=typical_s,
            slowest_s=draw(st.one_of(st.just(typical_s), TIMES_S)),
            then=draw(st.one_of(st.just(""), anywhere)),
            options=tuple(
                draw(st.lists(st.builds(Option, SAYINGS, anywhere, st.none() | chances), max_size=3))
            ),
            outcome=draw(st.sampled_from(("", *OUTCOMES))),
            fails=tuple(draw(st.lists(st.builds(Failure, anywhere, chances, TEXTS), max_size=3))),
            signal=draw(
                st.none() | st.builds(Signal, st.sampled_from(SIGNAL_KINDS), st.integers(1, 9), TEXTS)
            ),
            window_s=draw(st.none() | TIMES_S),
            no_return=draw(st.booleans()),
            recovery=draw(TEXTS),
        )
    return RunSheet(
        id=draw(SAYINGS),
        title=draw(SAYINGS),
        start=draw(st.sampled_from(ids)),
        census=draw(st.sampled_from(CENSUSES)),
        needs=tuple(draw(st.lists(SAYINGS, max_size=3, unique=True))),
        steps=steps,
        supply=draw(SUPPLIES),
    )


@st.composite
def sound_sheets(draw: st.DrawFn, *, most_steps: int = 7) -> RunSheet:
    """Sheets without faults: every step leads on to the next one or an end, and back as it likes."""
    count = draw(st.integers(1, most_steps))
    ids = [f"step-{number}" for number in range(count)]
    ends = ["fine", "as-it-was", "stuck"]
    steps: dict[str, Step] = {}
    for number, step_id in enumerate(ids):
        # The way on leads forward and keeps a chance of a quarter, so that every run comes to an end.
        onward = (ids[number + 1 :] or ["fine"])[0]
        typical_s = draw(TIMES_S)
        span_s = draw(st.one_of(st.just(0.0), TIMES_S))
        back = st.builds(Failure, st.sampled_from(ids + ends), st.floats(0.01, 0.25), TEXTS)
        shared = {
            "id": step_id,
            "say": f"Do {step_id}.",
            "typical_s": typical_s,
            "slowest_s": round(typical_s + span_s, 3),
            "fails": tuple(draw(st.lists(back, max_size=3))),
            "window_s": draw(
                st.none() | st.floats(0, 60).map(lambda more, low=typical_s: round(low + more, 3))
            ),
            "no_return": draw(st.booleans()),
        }
        if draw(st.booleans()):
            labels = draw(st.integers(1, 3))
            stated = draw(st.none() | st.floats(0.0, 1 / 3))
            targets = [onward, *(draw(st.sampled_from(ids + ends)) for _ in range(labels - 1))]
            options = [
                Option(f"way {place}", target, stated if place else None)
                for place, target in enumerate(targets)
            ]
            steps[step_id] = Step(kind="choose", options=tuple(options), **shared)  # type: ignore[arg-type]
        else:
            kind = draw(st.sampled_from(("act", "wait", "check")))
            steps[step_id] = Step(kind=kind, then=onward, **shared)  # type: ignore[arg-type]
    led_to = {failure.to for step in steps.values() for failure in step.fails}
    led_to |= {option.then for step in steps.values() for option in step.options} | {"fine"}
    outcomes = dict(zip(ends, OUTCOMES, strict=True))
    for end in ends:
        if end in led_to:
            recovery = "The maker's own workshop comes to the vehicle." if end == "stuck" else ""
            steps[end] = Step(end, "end", f"It is {end}.", outcome=outcomes[end], recovery=recovery)
    census = draw(st.sampled_from(CENSUSES))
    needs = tuple(draw(st.lists(st.sampled_from(("authority", "every-key", "steady-supply")), unique=True)))
    return RunSheet("random", "A random sheet", ids[0], census, needs, steps, draw(SUPPLIES))
