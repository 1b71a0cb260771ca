"""The gate's rules one by one: what each lets out, and what it takes for a frame to be lawful."""

from __future__ import annotations

import can
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.link.errors import RefusedFrameError
from bittern.engines.link.frame import BITS, Frame, address_all, address_unit, answer_from
from bittern.engines.link.gate import ANSWER_S, MOST_UNITS, PAUSE_S, Gate
from bittern.engines.link.services import REQUESTS, Request
from bittern.engines.link.transport import write_flow_control, write_single
from bittern.link.sealed import SealedBus
from tests.link.vehicle import OtherEnd, list_allowed

FLOW = bytes.fromhex("3000000000000000")
ASK_NUMBER = Frame(0x7DF, bytes.fromhex("0209020000000000"))
LONG = Frame(0x7E8, bytes.fromhex("1014490201314D38"))
ALLOWED = list_allowed(11, range(8)) | list_allowed(29, range(256))


def test_every_request_of_the_list_may_leave() -> None:
    for frame in sorted(ALLOWED, key=str):
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


@pytest.mark.parametrize("bits", BITS)
def test_one_bit_off_a_request_is_another_request_or_is_refused(bits: int) -> None:
    """Every bit of identifier, length of identifier and content, of requests to all and to three units."""
    units = (0, 5, 7) if bits == 11 else (0, 5, 255)
    for frame in list_allowed(bits, units):
        changed = [Frame(frame.frame_id ^ 1 << bit, frame.data, frame.extended) for bit in range(bits)]
        changed += [Frame(frame.frame_id, frame.data, not frame.extended)]
        changed += [Frame(frame.frame_id, frame.data[:size], frame.extended) for size in range(8)]
        whole = int.from_bytes(frame.data, "big")
        changed += [
            Frame(frame.frame_id, (whole ^ 1 << bit).to_bytes(8, "big"), frame.extended) for bit in range(64)
        ]
        for other in changed:
            if other in ALLOWED and other.data != FLOW:
                Gate().permit(other, 0.0)
            else:
                with pytest.raises(RefusedFrameError):
                    Gate().permit(other, 0.0)
