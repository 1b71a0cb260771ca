"""Whatever is tried and received, no frame leaves that is not on the list: the other end keeps a record."""

from __future__ import annotations

import ast
from dataclasses import dataclass, field

import can
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.core.errors import BitternError
from bittern.engines.link.errors import RefusedFrameError
from bittern.engines.link.exchange import Patience
from bittern.engines.link.frame import BITS, UNITS, Frame, address_all, address_unit, answer_from
from bittern.engines.link.gate import ANSWER_S, MOST_UNITS, PAUSE_S
from bittern.engines.link.services import REQUESTS, Request
from bittern.engines.link.transport import write_flow_control, write_single
from bittern.link.reading import ask, read_vehicle, watch_supply
from bittern.link.sealed import SealedBus
from tests.architecture.places import SOURCE, find_python, name_of
from tests.link.vehicle import OtherEnd, list_allowed

FLOW = bytes.fromhex("3000000000000000")
ASK_NUMBER = Frame(0x7DF, bytes.fromhex("0209020000000000"))
LONG = Frame(0x7E8, bytes.fromhex("1014490201314D38"))
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


def test_every_request_of_the_list_may_leave() -> None:
    for frame in sorted(list_allowed(11, range(8)) | list_allowed(29, range(256)), key=str):
        end = OtherEnd()
        if frame.data == FLOW:
            with pytest.raises(RefusedFrameError):
                end.seal().send(frame)
            assert end.sent == []
        else:
            end.seal().send(frame)
            assert end.frames == [frame]


@pytest.mark.parametrize("service", range(256))
def test_every_other_service_is_refused(service: int) -> None:
    end = OtherEnd()
    bus = end.seal()
    asked = {request.payload for request in REQUESTS}
    for item in range(256):
        for payload in (bytes([service]), bytes([service, item]), bytes([service, item, 0])):
            if payload not in asked:
                with pytest.raises(RefusedFrameError):
                    bus.send(address_all(11, write_single(payload)))
    assert end.sent == []


REQUEST_FRAMES = sorted((frame for frame in ALLOWED if frame.data != FLOW), key=str)
speakers = st.one_of(
    st.tuples(st.just(11), st.integers(0, 7)),
    st.tuples(st.just(29), st.one_of(st.integers(0, 8), st.just(241))),
)
asking = st.one_of(
    st.sampled_from([frame for frame in REQUEST_FRAMES if frame.frame_id in (0x7DF, 0x18DB33F1)]),
    st.builds(
        lambda who, request: address_unit(who[0], who[1], write_single(request.payload)),
        speakers,
        st.sampled_from(REQUESTS),
    ),
)


@given(asking, speakers, st.sampled_from(REQUESTS), st.integers(6, 70), speakers, st.floats(0, 12))
def test_flow_control_leaves_exactly_when_the_rule_says(
    question: Frame,
    speaker: tuple[int, int],
    head: Request,
    length: int,
    answered: tuple[int, int],
    later_s: float,
) -> None:
    """The three frames that make a flow control lawful, drawn apart from each other."""
    end = OtherEnd()
    bus = end.seal()
    bus.send(question)
    end.clock.now += later_s
    hear(end, bus, answer_from(*speaker, bytes([0x10, length]) + head.answer_head + bytes(4)))
    flow = address_unit(*answered, write_flow_control())
    lawful = (
        speaker == answered
        and flow.extended is question.extended
        and question.frame_id in (0x7DF, 0x18DB33F1, flow.frame_id)
        and head.payload == question.data[1:3]
        and 8 <= length <= 64
        and later_s <= ANSWER_S
    )
    if lawful:
        bus.send(flow)
    else:
        with pytest.raises(RefusedFrameError):
            bus.send(flow)
    assert end.frames == [question, flow][: 1 + lawful]


@pytest.mark.parametrize(
    ("asked", "heard"),
    [
        (address_unit(11, 1, ASK_NUMBER.data), LONG),
        (ASK_NUMBER, answer_from(29, 0, LONG.data)),
        (address_all(29, ASK_NUMBER.data), LONG),
        (address_unit(29, 5, ASK_NUMBER.data), answer_from(29, 4, LONG.data)),
    ],
    ids=str,
)
def test_a_unit_that_was_not_asked_gets_no_flow_control(asked: Frame, heard: Frame) -> None:
    end = OtherEnd()
    bus = end.seal()
    bus.send(asked)
    hear(end, bus, heard)
    for bits in BITS:
        for unit in range(8):
            with pytest.raises(RefusedFrameError):
                bus.send(address_unit(bits, unit, write_flow_control()))
    assert end.frames == [asked]


def test_requests_keep_a_pause() -> None:
    end = OtherEnd()
    bus = end.seal()
    bus.send(ASK_NUMBER)
    end.clock.now += PAUSE_S * 0.9
    with pytest.raises(RefusedFrameError, match="right after another"):
        bus.send(ASK_NUMBER)
    end.clock.now += PAUSE_S * 0.2
    bus.send(ASK_NUMBER)
    assert len(end.sent) == 2


def test_flow_control_leaves_once_and_only_for_an_answer_that_is_too_long() -> None:
    end = OtherEnd()
    bus = end.seal()
    flow = address_unit(11, 0, write_flow_control())
    with pytest.raises(RefusedFrameError):
        bus.send(flow)
    bus.send(ASK_NUMBER)
    with pytest.raises(RefusedFrameError):
        bus.send(flow)
    hear(end, bus, LONG)
    with pytest.raises(RefusedFrameError):
        bus.send(address_unit(11, 1, write_flow_control()))
    with pytest.raises(RefusedFrameError):
        bus.send(address_unit(11, 0, write_flow_control(block=1)))
    bus.send(flow)
    hear(end, bus, LONG)
    with pytest.raises(RefusedFrameError):
        bus.send(flow)
    assert end.frames == [ASK_NUMBER, flow]


@pytest.mark.parametrize(
    "heard",
    [
        "7E8 10 14 62 F1 90 31 4D 38",  # an answer to something else
        "7E8 10 41 49 02 01 31 4D 38",  # longer than any answer
        "7E8 03 49 02 01 31 4D 38 00",  # whole already
        "7E7 10 14 49 02 01 31 4D 38",  # no answer's identifier
        "7E8 10 14 49 02 01 31",  # two bytes short
    ],
)
def test_what_is_no_long_answer_to_the_request_brings_no_flow_control(heard: str) -> None:
    end = OtherEnd()
    bus = end.seal()
    bus.send(ASK_NUMBER)
    name, data = heard.split(" ", 1)
    hear(end, bus, Frame(int(name, 16), bytes.fromhex(data)))
    for unit in range(8):
        with pytest.raises(RefusedFrameError):
            bus.send(address_unit(11, unit, write_flow_control()))


def test_an_answer_long_after_brings_no_flow_control() -> None:
    end = OtherEnd()
    bus = end.seal()
    bus.send(ASK_NUMBER)
    end.clock.now += ANSWER_S + 1
    hear(end, bus, LONG)
    with pytest.raises(RefusedFrameError):
        bus.send(address_unit(11, 0, write_flow_control()))


def test_an_answer_to_the_request_before_brings_no_flow_control() -> None:
    end = OtherEnd()
    bus = end.seal()
    bus.send(ASK_NUMBER)
    hear(end, bus, LONG)
    end.clock.now += 1
    bus.send(ASK_NUMBER)
    with pytest.raises(RefusedFrameError):
        bus.send(address_unit(11, 0, write_flow_control()))
    hear(end, bus, LONG)
    bus.send(address_unit(11, 0, write_flow_control()))
    assert len(end.sent) == 3


def test_only_so_many_units_get_flow_control() -> None:
    end = OtherEnd()
    bus = end.seal()
    bus.send(address_all(29, write_single(bytes.fromhex("0902"))))
    left = 0
    for unit in range(256):
        hear(end, bus, answer_from(29, unit, LONG.data))
        try:
            bus.send(address_unit(29, unit, write_flow_control()))
            left += 1
        except RefusedFrameError:
            pass
    assert left == MOST_UNITS


def test_a_frame_that_changes_after_it_was_judged_leaves_as_it_was_judged() -> None:
    class Sly(bytes):
        def __eq__(self, other: object) -> bool:
            return True

        def __hash__(self) -> int:
            return hash(bytes.fromhex("0209020000000000"))

    end = OtherEnd()
    with pytest.raises(RefusedFrameError):
        end.seal().send(Frame(0x7DF, Sly(bytes.fromhex("0227010000000000"))))
    assert end.sent == []


def hear(end: OtherEnd, bus: SealedBus, frame: Frame) -> None:
    end.coming.append(
        can.Message(arbitration_id=frame.frame_id, data=frame.data, is_extended_id=frame.extended)
    )
    bus.receive(0)


def find_sends(text: str) -> list[str]:
    """Return the calls in a module's text that could put something on a bus of python-can."""
    return [
        ast.unparse(node.func)
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.Call)
        and isinstance(node.func, ast.Attribute)
        and node.func.attr in ("send", "send_periodic", "_send_internal", "_write", "write")
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
    assert knowing == ["src/bittern/link/sealed.py"]
    assert find_sends((SOURCE / "link" / "sealed.py").read_text()) == ["self.__bus.send"]
    # What reads uses the sealed bus alone.
    assert set(find_sends((SOURCE / "link" / "reading.py").read_text())) == {"bus.send"}


def test_the_bus_behind_the_seal_is_not_handed_out() -> None:
    bus = OtherEnd().seal()
    public = {name for name in dir(bus) if not name.startswith("_")}
    assert public == {"clear", "close", "next_request_s", "now_s", "receive", "send"}
