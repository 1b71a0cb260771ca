"""Reading a vehicle: number and voltage from one unit or several, and every way it can go wrong."""

from __future__ import annotations

import itertools
import random
import tracemalloc

import pytest

from bittern.engines.link.errors import SilenceError
from bittern.engines.link.exchange import Exchange, Patience
from bittern.engines.link.frame import Frame, answer_from
from bittern.engines.link.services import NUMBER as NUMBER_REQUEST
from bittern.engines.link.services import VOLTAGE
from bittern.engines.link.supply import judge_supply
from bittern.engines.link.unit import simulate_unit
from bittern.link.reading import ask, read_vehicle, watch_supply
from tests.link.vehicle import NUMBER, OtherEnd, Unit, on_bus, single, usual_answers


@pytest.mark.parametrize("bits", [11, 29])
def test_number_and_voltage_are_read(bits: int) -> None:
    end = on_bus(Unit(usual_answers(), bits=bits))
    found = read_vehicle(end.seal())
    assert (found.bits, found.number, found.supply_volts, found.faults) == (bits, NUMBER, 12.6, ())
    assert found.units == (("7E8",) if bits == 11 else ("18DAF100",))


def test_two_units_are_kept_apart_and_the_lower_voltage_counts() -> None:
    end = on_bus(Unit(usual_answers()), Unit(usual_answers(volts="2EE0"), unit=3))
    found = read_vehicle(end.seal())
    assert found.number == NUMBER
    assert found.numbers == {"7E8": NUMBER, "7EB": NUMBER}
    assert found.volts == {"7E8": 12.6, "7EB": 12.0}
    assert found.supply_volts == 12.0


def test_units_that_disagree_give_no_number() -> None:
    other = "JH2RC3605MM101581"
    end = on_bus(Unit(usual_answers()), Unit(usual_answers(other), unit=1))
    found = read_vehicle(end.seal())
    assert found.number is None
    assert set(found.numbers.values()) == {NUMBER, other}


def test_one_unit_can_be_asked_alone() -> None:
    end = on_bus(Unit(usual_answers()), Unit(usual_answers(volts="2EE0"), unit=3))
    answers = ask(end.seal(), VOLTAGE, unit=3)
    assert answers.messages == {3: bytes.fromhex("41422EE0")}
    assert end.frames == [Frame(0x7E3, bytes.fromhex("0201420000000000"))]


def test_a_silent_vehicle_is_said_and_asked_in_both_lengths() -> None:
    end = OtherEnd()
    with pytest.raises(SilenceError, match="type number and voltage in"):
        read_vehicle(end.seal())
    assert [frame.frame_id for frame in end.frames] == [0x7DF, 0x18DB33F1]


def test_the_published_exchange_frame_by_frame() -> None:
    """Frames of the worked row for 1M8GDM9AXKP042788: an independent stack and an independent parser."""
    first = Frame(0x7E8, bytes.fromhex("10 14 49 02 01 31 4D 38"))
    rest = [
        Frame(0x7E8, bytes.fromhex("21 47 44 4D 39 41 58 4B")),
        Frame(0x7E8, bytes.fromhex("22 50 30 34 32 37 38 38")),
    ]
    end = OtherEnd(lambda frame, now: [first] if frame.frame_id == 0x7DF else rest)
    answers = ask(end.seal(), NUMBER_REQUEST)
    assert answers.messages == {0: bytes.fromhex("490201") + NUMBER.encode()}
    assert end.frames == [
        Frame(0x7DF, bytes.fromhex("02 09 02 00 00 00 00 00")),
        Frame(0x7E0, bytes.fromhex("30 00 00 00 00 00 00 00")),
    ]


def test_a_unit_that_asks_for_time_is_waited_for_and_not_for_ever() -> None:
    pending, end = single(11, 0, bytes.fromhex("7F0178")), OtherEnd(lambda frame, now: [])
    asked_at: list[float] = []

    def react(frame: Frame, now: float) -> list[Frame]:
        asked_at.append(now)
        return [pending]

    end.react = react
    end.idle = lambda now: (
        [single(11, 0, bytes.fromhex("41423138"))] if asked_at and now >= asked_at[0] + 3 else []
    )
    assert ask(end.seal(), VOLTAGE).messages == {0: bytes.fromhex("41423138")}
    end = OtherEnd(lambda frame, now: [pending])
    end.idle = lambda now: [pending]
    end.cost_s = 0.001
    begun = end.clock.now
    answers = ask(end.seal(), VOLTAGE)
    assert [str(fault) for fault in answers.faults] == ["7E8: it asked for time and did not answer"]
    assert end.clock.now - begun <= 10.1


@pytest.mark.parametrize(
    ("frames", "found"),
    [
        (["01"], "a single frame that says 1 bytes and holds 0"),
        (["08 01 02 03 04 05 06 07"], "a single frame that says 8 bytes, not 1 to 7"),
        (["00"], "a single frame that says 0 bytes, not 1 to 7"),
        (["10 14 62 F1 90 57"], "a first frame of 6 bytes, not 8"),
        (["10 05 49 02 01 31 4D 38"], "a first frame that says 5 bytes"),
        (["1F FF 49 02 01 31 4D 38"], "a message of 4095 bytes, more than 64"),
        (["10 14 49 02 01 31 4D 38"], "an answer that stopped after 6 of 20 bytes"),
        (["10 14 49 02 01 31 4D 38", "22 50 30 34 32 37 38 38"], "part 2 where part 1"),
        (["10 14 49 02 01 31 4D 38", "21 47 44 4D 39 41 58 4B", "21 47 44 4D 39 41 58 4B"], "part 1 where"),
        (["10 14 49 02 01 31 4D 38", "10 14 49 02 01 31 4D 38"], "a new message before"),
        (["10 14 49 02 01 31 4D 38", "21 47"], "a part of 1 bytes where 7"),
        (["10 14 62 F1 90 31 4D 38"], "a long message that begins 62 F1"),
        (["90 00"], "unknown kind 9"),
        ([""], "an empty frame"),
        (["03 7F 09 12"], "it does not know the item"),
        (["03 7F 09 99"], "it refuses with code 99"),
    ],
)
def test_malformed_answers_are_faults_in_words(frames: list[str], found: str) -> None:
    """Each is rejected with its reason.

    The first three are rejected by python-OBD too (its tests/test_protocol_can.py); the fourth stands in a
    published course as an example of a first frame, and is two bytes short of one.
    """
    coming = [answer_from(11, 0, bytes.fromhex(text)) for text in frames]
    end = OtherEnd(lambda frame, now: coming if frame.frame_id == 0x7DF else [])
    answers = ask(end.seal(), NUMBER_REQUEST)
    assert answers.messages == {}
    assert len(answers.faults) == 1
    assert found in str(answers.faults[0])


@pytest.mark.parametrize(
    ("answer", "found"),
    [
        (bytes.fromhex("490201") + b"1M8GDM9AXKP04278", "16 characters"),
        (bytes.fromhex("490200") + NUMBER.encode(), "a count of 0"),
        (bytes.fromhex("4902"), "nothing"),
        (bytes.fromhex("490201") + b"\xff" * 17, "capital letters"),
    ],
)
def test_a_number_that_is_none_is_a_fault(answer: bytes, found: str) -> None:
    findings = read_vehicle(on_bus(Unit(usual_answers() | {"0902": answer})).seal())
    assert findings.number is None
    assert any(found in str(fault) for fault in findings.faults)
    assert findings.supply_volts == 12.6


def test_a_number_whose_check_digit_is_wrong_is_kept_as_it_was_read() -> None:
    """1D4GP00R55B123456: published as an example of an answer, though its check digit does not agree."""
    end = on_bus(Unit(usual_answers("1D4GP00R55B123456")))
    assert read_vehicle(end.seal()).number == "1D4GP00R55B123456"


def test_a_flood_ends_and_keeps_nothing() -> None:
    end = OtherEnd()
    end.idle = lambda now: [answer_from(11, unit, bytes.fromhex("2147444D3941584B")) for unit in range(8)]
    begun = end.clock.now
    end.cost_s = 0.0001
    with pytest.raises(SilenceError):
        read_vehicle(end.seal())
    assert end.clock.now - begun < 1.5
    assert [frame.frame_id for frame in end.frames] == [0x7DF, 0x18DB33F1]


def test_a_flood_of_anything_takes_no_memory() -> None:
    """Fifty thousand frames of every kind, from units and others: what is held stays below 64 kB."""
    patience = Patience(answer_s=100, whole_s=100)
    exchange = Exchange(NUMBER_REQUEST, bits=29, patience=patience)
    exchange.begin(0.0)
    chance = random.Random(5)
    exchange.feed(answer_from(29, 0, bytes(8)), 0.0)
    tracemalloc.start()
    for count in range(patience.most_frames - 1):
        data = bytes([chance.choice([0x07, 0x10, 0x20 + count % 16, 0x30])]) + chance.randbytes(7)
        exchange.feed(Frame(0x18DAF100 + chance.randrange(-9, 256), data, True), count / 1000)
    held = tracemalloc.get_traced_memory()[0]
    tracemalloc.stop()
    assert held < 65_536
    assert len(exchange.conclude().faults) <= 16


def test_a_flood_ends_even_where_the_clock_stands_still() -> None:
    end = OtherEnd()
    end.idle = lambda now: [answer_from(11, 0, bytes.fromhex("037F0178"))]
    answers = ask(end.seal(), VOLTAGE)
    assert "more than 50000 frames" in str(answers.faults[-1])


def test_the_supply_is_watched_until_the_vehicle_falls_silent() -> None:
    unit = Unit(usual_answers())
    end = on_bus(unit)
    samples = watch_supply(end.seal(), bits=11)
    taken = [next(samples) for _ in range(5)]
    assert [sample.volts for sample in taken] == [12.6] * 5
    steps = [b.at_s - a.at_s for a, b in itertools.pairwise(taken)]
    assert steps == pytest.approx([1.0] * 4, abs=0.01)
    unit.answers.clear()
    with pytest.raises(SilenceError, match="type it in"):
        next(samples)


@pytest.mark.parametrize("bits", [11, 29])
def test_a_simulated_unit_is_read_and_its_supply_falls(bits: int) -> None:
    end = OtherEnd()
    begun_s = end.clock.now
    unit = simulate_unit(NUMBER, lambda: 12.9 - 0.02 * (end.clock.now - begun_s), bits=bits, unit=2)
    end.react, end.idle = unit.hear, unit.go_on
    bus = end.seal()
    assert read_vehicle(bus, bits=bits).number == NUMBER
    samples = list(itertools.islice(watch_supply(bus, bits=bits), 20))
    state = judge_supply(samples)
    assert state.level == "falling"
    assert state.slope_v_per_s == pytest.approx(-0.02, abs=0.001)
    assert state.seconds_left == pytest.approx((samples[-1].volts - 12.0) / 0.02, rel=0.05)
