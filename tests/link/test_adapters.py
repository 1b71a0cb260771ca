"""The ways to a bus: within the program, a serial line adapter, a socket; and what is said without one."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Callable, Iterator

import can
import pytest

from bittern.engines.link.errors import SilenceError
from bittern.engines.link.services import VOLTAGE
from bittern.link.errors import AdapterError, ChannelError
from bittern.link.reading import ask, read_vehicle
from bittern.link.sealed import open_bus
from tests.link.serial_adapter import SerialAdapter
from tests.link.vehicle import NUMBER, OtherEnd, Unit, list_allowed, serving, to_frame, usual_answers


@pytest.fixture
def plug() -> Iterator[Callable[..., SerialAdapter]]:
    plugged: list[SerialAdapter] = []

    def make(unit: Unit, noise: bytes = b"", after: bytes = b"") -> SerialAdapter:
        plugged.append(SerialAdapter(unit, noise, after))
        return plugged[-1]

    yield make
    for adapter in plugged:
        adapter.close()


@pytest.mark.parametrize(("bits", "speed", "code"), [(11, 500_000, "S6"), (29, 250_000, "S5")])
def test_a_vehicle_is_read_through_a_serial_adapter(
    plug: Callable[..., SerialAdapter], bits: int, speed: int, code: str
) -> None:
    adapter = plug(Unit(usual_answers(), bits=bits))
    with open_bus(f"slcan:{adapter.port}", speed=speed, settle_s=0) as bus:
        found = read_vehicle(bus, bits=bits)
    assert (found.number, found.supply_volts, found.faults) == (NUMBER, 12.6, ())
    assert set(adapter.frames) <= list_allowed(bits, [0])
    assert len(adapter.frames) == 5
    # Beside frames only the line's own words: close, speed, open.
    assert {line for line in adapter.lines if line[:1] not in ("t", "T")} <= {"C", code, "", "O"}
    assert code in adapter.lines


@pytest.mark.parametrize("noise", [b"tzzz\r", b"t7E88zz\r", b"T\r", b"d7E8\r", b"\a", b"\r\r", b"q\r"])
def test_a_serial_line_that_garbles_loses_that_line_only(
    plug: Callable[..., SerialAdapter], noise: bytes
) -> None:
    adapter = plug(Unit(usual_answers()), noise)
    with open_bus(f"slcan:{adapter.port}", settle_s=0) as bus:
        assert read_vehicle(bus, bits=11).number == NUMBER
    assert set(adapter.frames) <= list_allowed(11, [0])


def test_half_a_line_does_not_spoil_the_next_answer(plug: Callable[..., SerialAdapter]) -> None:
    adapter = plug(Unit(usual_answers()), after=b"t7E80")
    with open_bus(f"slcan:{adapter.port}", settle_s=0) as bus:
        assert ask(bus, VOLTAGE).messages == {0: bytes.fromhex("41423138")}
        assert ask(bus, VOLTAGE).messages == {0: bytes.fromhex("41423138")}


@pytest.mark.parametrize("noise", [b"\xff\r", b"\xff" * 3000])
def test_a_serial_line_that_is_no_text_is_got_over(plug: Callable[..., SerialAdapter], noise: bytes) -> None:
    adapter = plug(Unit(usual_answers()), noise)
    with open_bus(f"slcan:{adapter.port}", settle_s=0) as bus:
        with contextlib.suppress(SilenceError):
            read_vehicle(bus, bits=11)
        adapter.noise = b""
        assert read_vehicle(bus, bits=11).number == NUMBER
    assert set(adapter.frames) <= list_allowed(11, [0])


def test_an_adapter_that_is_pulled_out_is_said(plug: Callable[..., SerialAdapter]) -> None:
    adapter = plug(Unit(usual_answers()))
    bus = open_bus(f"slcan:{adapter.port}", settle_s=0)
    adapter.close()
    with pytest.raises(AdapterError, match="type them in"):
        read_vehicle(bus)
    bus.close()


def test_a_bus_that_fails_while_it_is_read_is_said() -> None:
    class Failing(OtherEnd):
        def recv(self, timeout: float | None = None) -> can.Message | None:
            raise can.CanOperationError("gone")

    with pytest.raises(AdapterError, match="gone"):
        read_vehicle(Failing().seal())


@pytest.mark.parametrize("bits", [11, 29])
def test_a_vehicle_within_the_program_is_read(bits: int) -> None:
    unit, name = Unit(usual_answers(), bits=bits), f"adapters-{bits}"
    with serving(name, unit) as sent, open_bus(f"virtual:{name}") as bus:
        found = read_vehicle(bus)
    assert found.number == NUMBER
    assert set(map(to_frame, sent)) <= list_allowed(11, [0]) | list_allowed(29, [0])


@pytest.mark.skipif(not hasattr(socket, "AF_CAN"), reason="no CAN sockets in this Python")
def test_a_vehicle_on_a_socket_is_read() -> None:
    try:
        far = can.Bus(interface="socketcan", channel="vcan0")
    except OSError as error:
        pytest.skip(f"the kernel has no vcan0 here: {error}")
    with serving(far, Unit(usual_answers())) as sent, open_bus("socketcan:vcan0") as bus:
        found = read_vehicle(bus)
    assert found.number == NUMBER
    assert set(map(to_frame, sent)) <= list_allowed(11, [0])


@pytest.mark.parametrize("channel", ["", "can0", "socketcan:", "pcan:PCAN_USBBUS1", "slcan", "virtual :x"])
def test_a_channel_of_another_kind_is_refused(channel: str) -> None:
    with pytest.raises(ChannelError, match="socketcan:NAME"):
        open_bus(channel)


def test_a_speed_that_the_standard_does_not_name_is_refused() -> None:
    with pytest.raises(ChannelError, match="250000 or 500000"):
        open_bus("virtual:x", speed=125_000)


@pytest.mark.parametrize("channel", ["slcan:/dev/no-such-port", "socketcan:nowhere9"])
def test_without_an_adapter_it_says_what_to_do(channel: str) -> None:
    with pytest.raises(AdapterError, match="read number and voltage at the vehicle and type them in"):
        open_bus(channel, settle_s=0)
