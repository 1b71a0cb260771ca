"""Steps that several of the invented run sheets share: arriving, trying the engine, the ends."""

from __future__ import annotations

from collections.abc import Iterable

from bittern.engines.pairing.sheet import Failure, Option, RunSheet, Signal, Step, SupplyNeed

AUTHORITY, EVERY_KEY, OLD_KEY = "authority", "every-key", "old-key"
SUPPLY, MAKER_TOOL = "steady-supply", "maker-tool"
DONE = "Done. Count the keys with the customer: those shown to the vehicle today work, all others do not."
DONE_ALL = "Done. Every key that worked before works still, and the new one with them."
LAMP, BEEP, LOCKS, MESSAGE = "lamp", "beep", "lock-cycle", "message"


def act(
    step_id: str, say: str, typical_s: float, slowest_s: float, then: str, *fails: Failure, **more: object
) -> Step:
    """Return something to do."""
    return Step(step_id, "act", say, typical_s, slowest_s, then, fails=fails, **more)  # type: ignore[arg-type]


def check(step_id: str, say: str, typical_s: float, slowest_s: float, then: str, *fails: Failure) -> Step:
    """Return something to look at."""
    return Step(step_id, "check", say, typical_s, slowest_s, then, fails=fails)


def wait(
    step_id: str, say: str, typical_s: float, slowest_s: float, then: str, *fails: Failure, **more: object
) -> Step:
    """Return a time to let pass."""
    return Step(step_id, "wait", say, typical_s, slowest_s, then, fails=fails, **more)  # type: ignore[arg-type]


def choose(step_id: str, say: str, *options: tuple[str, str] | tuple[str, str, float]) -> Step:
    """Return a question; options are label, next step and, where known, chance."""
    return Step(step_id, "choose", say, 4, 20, options=tuple(Option(*option) for option in options))


def end(step_id: str, outcome: str, say: str, recovery: str = "") -> Step:
    """Return an end."""
    return Step(step_id, "end", say, outcome=outcome, recovery=recovery)


def fail(to: str, chance: float, because: str) -> Failure:
    """Return a way for a step to go wrong."""
    return Failure(to, chance, because)


def signal(kind: str, count: int = 1, text: str = "") -> Signal:
    """Return what the vehicle answers."""
    return Signal(kind, count, text)


def make_sheet(
    sheet_id: str, title: str, census: str, needs: Iterable[str], steps: Iterable[Step]
) -> RunSheet:
    """Return a run sheet that starts with its first step, and has its supply read before what is final."""
    by_id, needs = {step.id: step for step in steps}, tuple(needs)
    final = any(step.no_return for step in by_id.values())
    supply = SupplyNeed() if SUPPLY in needs and final else None
    return RunSheet(sheet_id, title, next(iter(by_id)), census, needs, by_id, supply)


def arrive(then: str, *, engine: bool = True) -> list[Step]:
    """Return the steps before anything electrical: a safe place and a steady supply."""
    air = (
        " The engine will run later: open the door of the workshop or have the exhaust hose ready."
        if engine
        else ""
    )
    return [
        act(
            "settle",
            "Park on level ground. Set the parking brake and put the gear in park or neutral. Close all"
            " doors." + air,
            40,
            120,
            "supply",
        ),
        check(
            "supply",
            "Connect the steady supply, red clamp first, and keep sparks and flames away from the battery."
            " Read the voltage: it must stand at 12.4 V or more for half a minute.",
            60,
            240,
            then,
            fail("supply-low", 0.03, "battery tired"),
        ),
    ]


def supply_low() -> Step:
    """Return the end for a vehicle whose battery is not fit for it."""
    return end(
        "supply-low",
        "unchanged",
        "Stop here: the supply is too low. Charge or replace the battery in a ventilated place, then"
        " begin again."
        " Every key works as before.",
    )


def stopped() -> Step:
    """Return the end for a procedure given up before anything changed."""
    return end("stopped", "unchanged", "Stopped before anything changed. Every key works as before.")


def try_engine(step_id: str, then: str, otherwise: str, *, push: bool = False) -> Step:
    """Return the step that starts the engine with the new key alone."""
    how = "press the start button" if push else "turn the new key to start"
    return act(
        step_id,
        "Lay every other key at least three metres away. Parking brake on, gear in park or neutral, foot"
        " on the brake,"
        f" exhaust led outside or the workshop door open: {how}. Let the engine run for ten seconds,"
        f" then stop it.",
        30,
        90,
        then,
        fail(otherwise, 0.02, "the engine does not start, or stops again"),
    )


def try_buttons(then: str, otherwise: str) -> Step:
    """Return the step that tries the radio."""
    return check(
        "try-buttons",
        "Stand five steps away with the doors closed and nobody near a window or lid. Press every button"
        " once:"
        " each does what its sign says.",
        30,
        90,
        then,
        fail(otherwise, 0.03, "a button does nothing"),
    )
