"""An adapter that is watched: what it says while all is well, when nobody answers, when it is pulled out."""

from __future__ import annotations

import threading
import tracemalloc
from collections.abc import Callable

import can
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.link.exchange import Patience
from bittern.engines.link.frame import answer_from
from bittern.engines.link.heard import (
    MOST_LOWS,
    MOST_SAMPLES,
    STATES,
    Heard,
    NumberHeard,
    note_low,
    read_heard,
)
from bittern.engines.link.supply import SupplySample
from bittern.link.errors import AdapterError
from bittern.link.sealed import SealedBus
from bittern.link.watch import FLOODED, MUTE, OPENING, SILENT, STOPPED, Watch, Wish
from tests.link.vehicle import NUMBER, OtherEnd, Unit, list_allowed, on_bus, usual_answers

OTHER = "JH2RC3605MM101581"
QUICK = Patience(pending_s=1.0, whole_s=2.0, most_frames=2000)


class Trial:
    """A watch whose wish lasts for so many looks; keeps all that was told."""

    def __init__(self, end: OtherEnd, wishes: list[Wish] | Callable[[int], Wish | None]) -> None:
        self.end = end
        self.told: list[Heard] = []
        self.opened = 0
        self._looks = 0
        self._wishes = wishes

    def find_wish(self) -> Wish | None:
        self._looks += 1
        if callable(self._wishes):
            return self._wishes(self._looks)
        return self._wishes[self._looks - 1] if self._looks <= len(self._wishes) else None

    def open_link(self) -> SealedBus:
        self.opened += 1
        return self.end.seal()

    def run(self, stop: threading.Event | None = None) -> Trial:
        Watch(
            self.open_link,
            self.find_wish,
            self.told.append,
            stop=stop,
            clock=self.end.clock,
            retry_s=0.0,
            patience=QUICK,
        ).run()
        return self

    def states(self) -> list[str]:
        """Return the states in order, each run of equal ones once."""
        return [
            heard.state
            for place, heard in enumerate(self.told)
            if place == 0 or self.told[place - 1].state != heard.state
        ]


def watch(end: OtherEnd, looks: int, *, number: bool = False) -> Trial:
    return Trial(end, [Wish(7, 1.0 if number else None)] * looks).run()


def test_the_supply_is_read_once_a_second_as_long_as_somebody_wants_it() -> None:
    trial = watch(on_bus(Unit(usual_answers())), 6)
    assert trial.states() == ["opening", "answering", "off"]
    assert trial.told[0].say == OPENING
    last = trial.told[-1]
    assert [sample.volts for sample in last.samples] == [12.6] * 5
    steps = [b.at_s - a.at_s for a, b in zip(last.samples, last.samples[1:], strict=False)]
    assert steps == pytest.approx([1.0] * 4, abs=0.3)
    assert trial.end.closed
    assert set(trial.end.frames) <= list_allowed(11, range(8))


def test_the_number_is_read_when_it_is_asked_for_and_only_then() -> None:
    trial = watch(on_bus(Unit(usual_answers()), Unit(usual_answers(OTHER), unit=2)), 4, number=True)
    number = trial.told[-1].number
    assert number is not None
    assert number.numbers == {"7E8": NUMBER, "7EA": OTHER}
    asked = [frame for frame in trial.end.frames if frame.data[1:3] == b"\x09\x02"]
    assert len(asked) == 1
    without = watch(on_bus(Unit(usual_answers())), 4)
    assert without.told[-1].number is None
    assert not [frame for frame in without.end.frames if frame.data[1:2] == b"\x09"]


def test_a_silent_vehicle_is_said_and_is_read_as_soon_as_it_answers() -> None:
    unit = Unit({})
    end = on_bus(unit)

    def wish(look: int) -> Wish | None:
        if look == 4:
            unit.answers = Unit(usual_answers()).answers
        return Wish(7) if look < 8 else None

    trial = Trial(end, wish).run()
    assert trial.states() == ["opening", "silent", "answering", "off"]
    assert SILENT in {heard.say for heard in trial.told}
    # The adapter is still there: it is not opened again.
    assert trial.opened == 1


def test_a_number_asked_of_a_silent_vehicle_is_answered_with_why() -> None:
    number = watch(OtherEnd(), 3, number=True).told[-1].number
    assert number is not None
    assert (dict(number.numbers), number.faults) == ({}, ("no answer",))


def test_a_unit_that_does_not_tell_its_voltage_is_said() -> None:
    answers = usual_answers() | {"0142": bytes.fromhex("7F0112")}
    trial = watch(on_bus(Unit(answers)), 4)
    assert trial.told[-2].say == MUTE
    assert trial.told[-1].samples == ()


def test_an_adapter_that_is_pulled_out_is_said_and_taken_up_again() -> None:
    class Pulled(OtherEnd):
        out = False

        def recv(self, timeout: float | None = None) -> can.Message | None:
            if self.out:
                raise can.CanOperationError("gone")
            return super().recv(timeout)

    unit = Unit(usual_answers())
    end = Pulled(unit.hear)
    end.idle = unit.go_on

    def wish(look: int) -> Wish | None:
        end.out = look == 4
        return Wish(7) if look < 10 else None

    trial = Trial(end, wish).run()
    assert trial.states() == ["opening", "answering", "stopped", "opening", "answering", "off"]
    stopped = next(heard for heard in trial.told if heard.state == "stopped")
    assert stopped.say.startswith(STOPPED)
    assert "gone" in stopped.say
    # What was read before stays, and what comes after follows it.
    assert len(trial.told[-1].samples) > len(stopped.samples) >= 2
    assert trial.opened == 2


def test_without_an_adapter_it_says_so_and_tries_again() -> None:
    tries: list[int] = []

    def open_link() -> SealedBus:
        tries.append(1)
        raise AdapterError("an adapter that cannot be opened", "it", where="adapter")

    told: list[Heard] = []
    wishes = iter([Wish(7, 1.0)] * 3)
    Watch(open_link, lambda: next(wishes, None), told.append, retry_s=0.0).run()
    assert len(tries) == 3
    assert [heard.state for heard in told] == ["opening", "stopped"] * 3 + ["off"]
    assert told[-1].number is not None
    assert told[-1].number.faults == ("an adapter that cannot be opened",)


def test_a_flooded_bus_is_said_let_go_and_takes_no_memory() -> None:
    end = OtherEnd()
    part = bytes.fromhex("2147444D3941584B")
    end.idle = lambda now: [] if end.coming else [answer_from(11, unit, part) for unit in range(8)]
    tracemalloc.start()
    trial = watch(end, 12)
    held = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert "flooded" in trial.states()
    assert FLOODED in {heard.say for heard in trial.told}
    assert trial.opened > 1
    assert held < 500_000
    assert trial.end.closed


def test_what_was_heard_for_another_job_is_forgotten() -> None:
    trial = Trial(on_bus(Unit(usual_answers())), [Wish(7, 1.0)] * 4 + [Wish(8)] * 2).run()
    assert trial.told[-1].job == 8
    assert len(trial.told[-1].samples) == 2
    assert trial.told[-1].number is None


def test_told_to_stop_it_ends_and_lets_the_adapter_go() -> None:
    stop = threading.Event()
    end = on_bus(Unit(usual_answers()))

    def wish(look: int) -> Wish:
        if look == 4:
            stop.set()
        return Wish(7)

    assert Trial(end, wish).run(stop).states() == ["opening", "answering", "off"]
    assert end.closed


def test_what_is_held_is_bounded() -> None:
    trial = watch(on_bus(Unit(usual_answers())), MOST_SAMPLES + 30)
    assert len(trial.told[-1].samples) == MOST_SAMPLES
    lows: list[SupplySample] = []
    for minute in range(MOST_LOWS + 10):
        note_low(lows, SupplySample(60.0 * minute, 12.0))
    assert len(lows) == MOST_LOWS
    assert lows[-1].at_s == 60.0 * (MOST_LOWS + 9)


times = st.floats(0, 1e6)
volts = st.floats(0, 60)
samples = st.lists(st.builds(SupplySample, times, volts), max_size=20).map(tuple)
words = st.builds(
    Heard,
    st.sampled_from(STATES),
    st.text(max_size=20),
    st.integers(0, 10**6),
    times,
    samples,
    samples,
    st.none()
    | st.builds(
        NumberHeard,
        times,
        st.dictionaries(st.text(max_size=8), st.text(max_size=17), max_size=3),
        st.lists(st.text(max_size=20), max_size=3).map(tuple),
    ),
    st.none() | times,
)


@given(words)
def test_what_was_heard_comes_back_as_it_was_written(heard: Heard) -> None:
    assert read_heard(heard.as_dict()) == heard


@given(
    words, st.sampled_from(sorted(Heard().as_dict())), st.sampled_from([None, "x", [1], {"a": 1}, -1, True])
)
def test_half_a_file_is_no_word_and_no_error(heard: Heard, name: str, wrong: object) -> None:
    plain = heard.as_dict()
    assert read_heard({key: value for key, value in plain.items() if key != name}) is None
    found = read_heard(plain | {name: wrong})
    assert found is None or isinstance(found, Heard)


@given(st.lists(st.tuples(st.floats(0, 2000), st.floats(9, 15)), min_size=1, max_size=50), st.floats(0, 2000))
def test_the_lowest_since_a_moment_is_that_of_the_minutes(
    rows: list[tuple[float, float]], since_s: float
) -> None:
    """By minutes: a low before the moment may stand for its minute, so the answer is never too low."""
    ordered = [SupplySample(at_s, v) for at_s, v in sorted(rows)]
    lows: list[SupplySample] = []
    for sample in ordered:
        note_low(lows, sample)
    found = Heard(lows=tuple(lows)).find_least(since_s)
    true = min((s.volts for s in ordered if s.at_s >= since_s), default=None)
    if found is not None:
        assert true is not None
        assert found.volts >= true
    if since_s <= ordered[0].at_s:
        assert found is not None
        assert found.volts == true
