"""Taking messages apart and putting them together: times, pace, order, bounds."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.link.transport import (
    LONGEST_MESSAGE,
    OVERFLOW,
    USUAL,
    WAIT,
    FlowControl,
    Receiver,
    Sender,
    parse_part,
    write_flow_control,
)

LONG = bytes(range(100))


@given(st.binary(min_size=1, max_size=LONGEST_MESSAGE), st.integers(0, 255), st.integers(0, 255))
def test_what_is_taken_apart_is_put_together_at_the_pace_asked_for(
    message: bytes, block: int, raw_pause: int
) -> None:
    sender, receiver = Sender(message), Receiver()
    flow = write_flow_control(block=block, raw_pause=raw_pause)
    asked = parse_part(flow)
    assert isinstance(asked, FlowControl)
    now, sent_at, in_block, got = 0.0, -1.0, 0, []
    while not sender.over:
        data = sender.poll(now)
        if data is None:
            # Either the pause is not over, or a block is and the next flow control is awaited.
            if in_block == block and block:
                sender.feed(flow, now)
                in_block = 0
            else:
                now = sender.next_at_s
            continue
        if data[0] >> 4 == 2:
            in_block += 1
            assert not block or in_block <= block
            assert in_block == 1 or now - sent_at >= asked.pause_s - 1e-9
            sent_at = now
        heard = receiver.feed(data, now)
        assert heard.fault == ""
        if heard.wants_flow_control:
            sender.feed(flow, now)
        if heard.message is not None:
            got.append(heard.message)
    assert got == [message]


@pytest.mark.parametrize(
    ("raw", "pause_s"),
    [
        (0x00, 0.0),
        (0x01, 0.001),
        (0x7F, 0.127),
        (0x80, 0.127),
        (0xF0, 0.127),
        (0xF1, 0.0001),
        (0xF9, 0.0009),
        (0xFA, 0.127),
        (0xFF, 0.127),
    ],
)
def test_pauses_are_milliseconds_or_tenths_and_reserved_ones_the_longest(raw: int, pause_s: float) -> None:
    part = parse_part(bytes([0x30, 0, raw]))
    assert isinstance(part, FlowControl)
    assert part.pause_s == pytest.approx(pause_s)


def test_seven_bytes_are_one_frame_and_eight_are_two() -> None:
    """ISO 15765-2, frame layout: a single frame holds up to 7 bytes."""
    one, two = Sender(LONG[:7]), Sender(LONG[:8])
    assert one.poll(0.0) == bytes([7]) + LONG[:7]
    assert one.over
    assert two.poll(0.0) == bytes([0x10, 8]) + LONG[:6]
    two.feed(write_flow_control(), 0.0)
    assert two.poll(0.0) == bytes([0x21]) + LONG[6:8] + bytes(5)
    assert two.over


def test_the_count_goes_from_fifteen_to_nought() -> None:
    sender = Sender(bytes(200))
    sender.poll(0.0)
    sender.feed(write_flow_control(), 0.0)
    counts = []
    while (data := sender.poll(0.0)) is not None:
        counts.append(data[0])
    assert counts[13:18] == [0x2E, 0x2F, 0x20, 0x21, 0x22]


def test_a_sender_gives_up_without_flow_control() -> None:
    sender = Sender(LONG)
    sender.poll(0.0)
    assert sender.poll(USUAL.flow_control_s) is None
    assert not sender.over
    sender.poll(USUAL.flow_control_s + 0.001)
    assert "no flow control" in sender.fault


def test_a_sender_gives_up_on_overflow_and_on_endless_patience() -> None:
    sender = Sender(LONG)
    sender.poll(0.0)
    sender.feed(write_flow_control(OVERFLOW), 0.0)
    assert "cannot hold" in sender.fault
    sender = Sender(LONG)
    sender.poll(0.0)
    for turn in range(USUAL.most_waits):
        sender.feed(write_flow_control(WAIT), turn * 0.9)
        assert sender.poll(turn * 0.9) is None
        assert not sender.fault
    sender.feed(write_flow_control(WAIT), 9.0)
    assert "patience" in sender.fault


def test_a_receiver_gives_up_when_the_next_frame_is_overdue() -> None:
    receiver = Receiver()
    assert receiver.feed(bytes([0x10, 100]) + LONG[:6], 0.0).wants_flow_control
    assert receiver.until_s == USUAL.next_frame_s
    assert receiver.expire(USUAL.next_frame_s).fault == ""
    assert "6 of 100 bytes" in receiver.expire(USUAL.next_frame_s + 0.001).fault
    assert not receiver.busy


@given(st.lists(st.tuples(st.binary(max_size=9), st.floats(0, 3)), max_size=200), st.integers(8, 64))
def test_whatever_comes_no_more_is_held_than_allowed(frames: list[tuple[bytes, float]], most: int) -> None:
    receiver, now = Receiver(most_bytes=most), 0.0
    for data, later in frames:
        now += later
        heard = receiver.feed(data, now)
        assert heard.message is None or 1 <= len(heard.message) <= most
        assert int(receiver.progress.split()[0]) <= most
        assert not (heard.fault and (heard.message or heard.wants_flow_control))


@given(st.integers(0, 11), st.integers(1, 15))
def test_a_frame_lost_or_doubled_is_found(place: int, off: int) -> None:
    sender, receiver = Sender(LONG), Receiver()
    first = sender.poll(0.0)
    assert first is not None
    receiver.feed(first, 0.0)
    sender.feed(write_flow_control(), 0.0)
    parts = []
    while (data := sender.poll(0.0)) is not None:
        parts.append(data)
    bad = parts[place]
    parts[place] = bytes([0x20 + (bad[0] + off) % 16]) + bad[1:]
    heard = [receiver.feed(data, 0.0) for data in parts]
    assert all(one.message is None for one in heard)
    assert heard[place].fault
