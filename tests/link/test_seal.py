"""Whatever is tried and received, no frame leaves that is not on the list: the other end keeps a record."""

from __future__ import annotations

import ast
from dataclasses import dataclass, field

import can
from hypothesis import given
from hypothesis import strategies as st

from bittern.core.errors import BitternError
from bittern.engines.link.errors import RefusedFrameError
from bittern.engines.link.exchange import Patience
from bittern.engines.link.frame import BITS, UNITS, Frame, answer_from
from bittern.engines.link.services import REQUESTS
from bittern.engines.link.transport import write_single
from bittern.link.reading import ask, read_vehicle, watch_supply
from tests.architecture.places import SOURCE, find_python, name_of
from tests.link.vehicle import OtherEnd, list_allowed

FLOW = bytes.fromhex("3000000000000000")
ALLOWED = list_allowed(11, range(8)) | list_allowed(29, range(256))

services = st.binary(min_size=1, max_size=7).map(write_single)
ids_11 = st.one_of(st.integers(0x7DF, 0x7EF), st.integers(0, 0x7FF))
ids_29 = st.one_of(
    st.just(0x18DB33F1),
    st.integers(0, 255).map(lambda unit: 0x18DA00F1 + (unit << 8)),
    st.integers(0, 255).map(lambda unit: 0x18DAF100 + unit),
    st.integers(0, 0x1FFFFFFF),
)
near_allowed = st.builds(
    lambda frame, place, bit: Frame(
        frame.frame_id,
        bytes(byte ^ (bit if at == place else 0) for at, byte in enumerate(frame.data)),
        frame.extended,
    ),
    st.sampled_from(sorted(ALLOWED, key=str)),
    st.integers(0, 7),
    st.sampled_from([0, 1, 2, 4, 8, 16, 32, 64, 128]),
)
anything = st.one_of(
    near_allowed,
    st.builds(Frame, ids_11, st.one_of(services, st.just(FLOW), st.binary(max_size=8)), st.just(False)),
    st.builds(Frame, ids_29, st.one_of(services, st.just(FLOW), st.binary(max_size=8)), st.just(True)),
)
long_answers = st.builds(
    lambda bits, unit, length, request, tail: answer_from(
        bits,
        unit % UNITS[bits],
        (bytes([0x10 + length // 256, length % 256]) + request.answer_head + tail)[:8],
    ),
    st.sampled_from(BITS),
    st.integers(0, 255),
    st.sampled_from([8, 20, 64, 65, 4095]),
    st.sampled_from(REQUESTS),
    st.binary(min_size=4, max_size=4),
)
received = st.one_of(long_answers, anything)
steps = st.lists(
    st.one_of(
        st.tuples(st.just("send"), anything),
        st.tuples(st.just("hear"), received),
        st.tuples(st.just("wait"), st.floats(-1, 11)),
        st.tuples(st.just("ask"), st.sampled_from(REQUESTS)),
    ),
    max_size=30,
)


@dataclass
class Rule:
    """A second, plain telling of the rule, over the record of all that was heard and left."""

    events: list[tuple[str, Frame]] = field(default_factory=list)

    def check(self) -> None:
        """Assert that each frame that left was allowed by what stood before it."""
        for place, (what, frame) in enumerate(self.events):
            if what == "left":
                assert frame in ALLOWED, str(frame)
                if frame.data == FLOW:
                    self.check_flow_control(place, frame)

    def check_flow_control(self, place: int, frame: Frame) -> None:
        asked = max(
            at
            for at, (what, other) in enumerate(self.events[:place])
            if what == "left" and other.data != FLOW
        )
        question = self.events[asked][1]
        since = self.events[asked + 1 : place]
        assert frame not in [other for what, other in since if what == "left"], "twice for one request"
        unit = frame.frame_id >> 8 & 0xFF
        answers_as = 0x18DAF100 + unit if frame.extended else frame.frame_id + 8
        heads = [
            other.data[2:4]
            for what, other in since
            if what == "heard"
            and (other.frame_id, other.extended) == (answers_as, frame.extended)
            and len(other.data) == 8
            and other.data[0] >> 4 == 1
        ]
        assert bytes([question.data[1] + 0x40, question.data[2]]) in heads
        assert question.extended is frame.extended, "answers come in the request's own length"
        assert question.frame_id in (0x7DF, 0x18DB33F1, frame.frame_id), "only a unit that was asked"


class Recording(OtherEnd):
    """The other end, with one record of both directions."""

    def __init__(self) -> None:
        super().__init__()
        self.rule = Rule()

    def send(self, msg: can.Message, timeout: float | None = None) -> None:
        assert not (msg.is_remote_frame or msg.is_fd or msg.is_error_frame)
        super().send(msg, timeout)
        self.rule.events.append(("left", self.frames[-1]))

    def recv(self, timeout: float | None = None) -> can.Message | None:
        message = super().recv(timeout)
        if message is not None:
            frame = Frame(message.arbitration_id, bytes(message.data), message.is_extended_id)
            self.rule.events.append(("heard", frame))
        return message


@given(steps)
def test_no_sequence_of_calls_and_frames_lets_another_frame_leave(
    todo: list[tuple[str, object]],
) -> None:
    end = Recording()
    bus = end.seal()
    for what, value in todo:
        try:
            if what == "send":
                assert isinstance(value, Frame)
                bus.send(value)
            elif what == "hear":
                assert isinstance(value, Frame)
                end.coming.append(
                    can.Message(arbitration_id=value.frame_id, data=value.data, is_extended_id=value.extended)
                )
                bus.receive(0)
            elif what == "wait":
                assert isinstance(value, float)
                end.clock.now += value
            else:
                ask(bus, value, patience=Patience(0.01, 0.02, 0.05, 50))  # type: ignore[arg-type]
        except BitternError as error:
            assert isinstance(error, RefusedFrameError), error
    end.rule.check()


@given(st.lists(received, max_size=60), st.sampled_from([None, 11, 29]))
def test_received_frames_neither_hang_nor_break_nor_bring_out_anything(
    frames: list[Frame], bits: int | None
) -> None:
    end = Recording()
    end.react = lambda frame, now: frames
    bus = end.seal()
    try:
        read_vehicle(bus, bits=bits, patience=Patience(0.05, 0.1, 0.2, 500))
        next(watch_supply(bus, bits=11, patience=Patience(0.05, 0.1, 0.2, 500)))
    except BitternError as error:
        assert error.code == "link.silence"
    assert end.clock.now < 100.0 + 6 * 0.5
    end.rule.check()


def find_sends(text: str) -> list[str]:
    """Return the calls in a module's text that could put something on a bus of python-can."""
    return [
        ast.unparse(node.func)
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in ("send", "send_periodic", "_send_internal", "_write", "write")
    ]


def find_opened(text: str) -> list[str]:
    """Return the calls in a module's text that open a bus."""
    return [
        ast.unparse(node.func)
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Call) and ast.unparse(node.func).lower().endswith("bus")
    ]


def test_one_module_knows_the_bus_and_one_call_sends() -> None:
    knowing = [
        name_of(path)
        for path in find_python("src")
        if {"can", "serial", "isotp"}
        & {
            name.split(".")[0]
            for node in ast.walk(ast.parse(path.read_text()))
            for name in (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom) and node.level == 0
                else []
            )
        }
    ]
    assert knowing == ["src/bittern/link/sealed.py", "src/bittern/link/simulated.py"]
    assert find_sends((SOURCE / "link" / "sealed.py").read_text()) == ["self.__bus.send"]
    # A simulated unit answers, on the one kind of bus that ends in this process.
    simulated = (SOURCE / "link" / "simulated.py").read_text()
    assert find_sends(simulated) == ["far.send"]
    assert find_opened(simulated) == ["VirtualBus", "open_bus"]
    assert 'open_bus(f"virtual:{channel}")' in simulated
    # What reads uses the sealed bus alone.
    assert set(find_sends((SOURCE / "link" / "reading.py").read_text())) == {"bus.send"}


def test_the_bus_behind_the_seal_is_not_handed_out() -> None:
    bus = OtherEnd().seal()
    public = {name for name in dir(bus) if not name.startswith("_")}
    assert public == {"clear", "close", "next_request_s", "now_s", "receive", "send"}
