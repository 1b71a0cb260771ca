"""A simulated unit on the virtual bus: read by the code that reads a vehicle, and nothing stays behind."""

from __future__ import annotations

import threading

import pytest
from can.interfaces.virtual import channels

from bittern.engines.link.errors import RefusedFrameError
from bittern.engines.link.frame import Frame
from bittern.engines.link.unit import ControlUnit, simulate_unit
from bittern.link.reading import find_bits, read_vehicle, watch_supply
from bittern.link.simulated import serve_unit

NUMBER = "1M8GDM9AXKP042788"


@pytest.mark.parametrize("bits", [11, 29])
def test_number_and_voltage_are_read_as_from_a_vehicle(bits: int) -> None:
    with serve_unit(simulate_unit(NUMBER, lambda: 12.345, bits=bits)) as bus:
        found = read_vehicle(bus)
    assert (found.bits, found.number, found.supply_volts, found.faults) == (bits, NUMBER, 12.345, ())


def test_a_supply_that_falls_is_seen_to_fall() -> None:
    volts = iter((12.5, 12.25, 12.0))
    with serve_unit(simulate_unit(NUMBER, lambda: next(volts))) as bus:
        bits = find_bits(bus)
        watched = watch_supply(bus, bits=bits, period_s=0.0)
        assert [next(watched).volts for _ in range(3)] == [12.5, 12.25, 12.0]


def test_two_at_once_hear_their_own_unit_alone() -> None:
    with (
        serve_unit(simulate_unit(NUMBER, lambda: 11.5)) as low,
        serve_unit(simulate_unit(NUMBER, lambda: 13.5)) as high,
    ):
        assert next(watch_supply(low, bits=11)).volts == 11.5
        assert next(watch_supply(high, bits=11)).volts == 13.5


def test_the_gate_stands_before_the_simulated_vehicle_too() -> None:
    with serve_unit(ControlUnit({})) as bus, pytest.raises(RefusedFrameError):
        bus.send(Frame(0x7DF, bytes.fromhex("0104000000000000")))


def test_neither_thread_nor_channel_stays_even_after_an_error() -> None:
    before = set(threading.enumerate())
    for _ in range(5):
        with pytest.raises(ZeroDivisionError), serve_unit(simulate_unit(NUMBER, lambda: 12.0)) as bus:
            find_bits(bus)
            raise ZeroDivisionError
    assert set(threading.enumerate()) == before
    assert not [name for name in channels if str(name).startswith("simulated-")]
