"""Against can-isotp, an independent implementation, on python-can's virtual bus."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator

import can
import isotp
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bittern.engines.link.frame import BITS
from bittern.engines.link.services import decode_number
from bittern.engines.link.transport import Receiver, Sender, write_flow_control
from bittern.link.reading import read_vehicle
from bittern.link.sealed import SealedBus
from tests.link.vehicle import NUMBER, TICK_S, Clock, usual_answers

ADDRESS = isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=0x7E0, txid=0x7E8)
names = (f"link-{count}" for count in itertools.count())


class Independent:
    """Their side of a conversation: what it sends is listed, what it receives is fed."""

    def __init__(self, **params: object) -> None:
        self.out: list[bytes] = []
        self.incoming: list[bytes] = []
        self.errors: list[Exception] = []
        self.layer = isotp.TransportLayerLogic(
            rxfn=self._receive,
            txfn=lambda message: self.out.append(bytes(message.data)),
            address=ADDRESS,
            error_handler=self.errors.append,
            params={"tx_padding": 0, **params},
        )

    def _receive(self, timeout: float) -> isotp.CanMessage | None:
        if not self.incoming:
            return None
        return isotp.CanMessage(arbitration_id=0x7E0, data=self.incoming.pop(0))

    def take(self) -> list[bytes]:
        self.layer.process()
        out, self.out = self.out, []
        return out


@given(st.binary(min_size=1, max_size=4095))
@settings(max_examples=60)
def test_what_they_send_we_put_together(message: bytes) -> None:
    theirs, ours = Independent(), Receiver()
    theirs.layer.send(message)
    got: list[bytes] = []
    while frames := theirs.take():
        for data in frames:
            heard = ours.feed(data, 0.0)
            assert heard.fault == ""
            if heard.wants_flow_control:
                theirs.incoming.append(write_flow_control())
            if heard.message is not None:
                got.append(heard.message)
    assert got == [message]
    assert theirs.errors == []


@given(st.binary(min_size=1, max_size=4095), st.integers(0, 20))
@settings(max_examples=60)
def test_what_we_send_they_put_together(message: bytes, block: int) -> None:
    theirs, ours = Independent(blocksize=block, stmin=0), Sender(message)
    while not ours.over:
        data = ours.poll(0.0)
        if data is not None:
            theirs.incoming.append(data)
        for reply in theirs.take():
            ours.feed(reply, 0.0)
    theirs.take()
    assert ours.fault == ""
    assert theirs.errors == []
    got = theirs.layer.recv()
    assert got is not None
    assert bytes(got) == message


def test_the_published_frames() -> None:
    """1D4GP00R55B123456: payload split 6 + 7 + 7 on a data sheet's page on answers of several lines."""
    expected = ["1014490201314434", "2147503030523535", "2242313233343536"]
    message = bytes.fromhex("490201") + b"1D4GP00R55B123456"
    ours, theirs = Sender(message), Independent()
    frames = [ours.poll(0.0)]
    ours.feed(write_flow_control(), 0.0)
    frames += [ours.poll(0.0), ours.poll(0.0)]
    assert [data.hex() for data in frames if data] == expected
    theirs.layer.send(message)
    first = theirs.take()
    theirs.incoming.append(write_flow_control())
    assert [data.hex() for data in first + theirs.take()] == expected
    receiver = Receiver()
    heard = [receiver.feed(bytes.fromhex(text), 0.0) for text in expected]
    assert heard[0].wants_flow_control
    assert heard[2].message is not None
    assert decode_number(heard[2].message) == "1D4GP00R55B123456"


class Pumped:
    """Our end of a real bus of python-can; while we wait, the stacks at the other end work."""

    def __init__(self, bus: can.BusABC, clock: Clock, serve: Callable[[], None]) -> None:
        self.bus, self.clock, self.serve = bus, clock, serve

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        self.bus.send(msg, timeout)

    def recv(self, timeout: float | None = None) -> can.Message | None:
        assert timeout is not None
        until = self.clock.now + timeout
        while True:
            message = self.bus.recv(0)
            if message is not None or self.clock.now >= until:
                return message
            self.clock.now = min(until, self.clock.now + TICK_S)
            self.serve()

    def shutdown(self) -> None:
        self.bus.shutdown()


def make_address(bits: int, unit: int, *, to_all: bool) -> isotp.Address:
    if bits == 11:
        return isotp.Address(
            isotp.AddressingMode.Normal_11bits, rxid=0x7DF if to_all else 0x7E0 + unit, txid=0x7E8 + unit
        )
    return isotp.Address(
        isotp.AddressingMode.Normal_29bits,
        rxid=0x18DB33F1 if to_all else 0x18DA00F1 + (unit << 8),
        txid=0x18DAF100 + unit,
    )


class IndependentUnit:
    """A control unit on their stack: one layer hears what is for all, one what is for it alone."""

    def __init__(
        self, channel: str, bits: int, unit: int, answers: dict[str, bytes], **params: object
    ) -> None:
        self.answers = {bytes.fromhex(asked): answer for asked, answer in answers.items()}
        self.buses = [can.Bus(interface="virtual", channel=channel) for _ in range(2)]
        more = {"tx_padding": 0xAA, "stmin": 0}
        self.all, self.alone = (
            isotp.CanStack(bus, address=make_address(bits, unit, to_all=to_all), params=more)
            for bus, to_all in zip(self.buses, (True, False), strict=True)
        )

    def serve(self) -> None:
        for stack in (self.all, self.alone):
            stack.process()
            while asked := stack.recv():
                answer = self.answers.get(bytes(asked))
                if answer:
                    # Long answers need the flow control, which comes to the unit alone.
                    self.alone.send(answer)
        self.alone.process()

    def close(self) -> None:
        for bus in self.buses:
            bus.shutdown()


@pytest.fixture
def channel() -> Iterator[str]:
    yield next(names)


@pytest.mark.parametrize("bits", BITS)
def test_a_vehicle_of_two_independent_units_is_read(channel: str, bits: int) -> None:
    other = "JH2RC3605MM101581"
    units = [
        IndependentUnit(channel, bits, 0, usual_answers()),
        IndependentUnit(channel, bits, 2, usual_answers(other, "2EE0")),
    ]
    clock = Clock()

    def serve() -> None:
        for unit in units:
            unit.serve()

    end = Pumped(can.Bus(interface="virtual", channel=channel), clock, serve)
    with SealedBus(end, clock) as bus:
        found = read_vehicle(bus)
    for unit in units:
        unit.close()
    assert found.faults == ()
    assert found.bits == bits
    assert list(found.numbers.values()) == [NUMBER, other]
    assert list(found.volts.values()) == [12.6, 12.0]
