"""Requests and answers of services 01 and 09 against published values."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bittern.engines.link.errors import AnswerError
from bittern.engines.link.services import (
    NUMBER,
    REQUESTS,
    VOLTAGE,
    WHAT_NOW,
    WHAT_VEHICLE,
    decode_number,
    decode_supported,
    decode_voltage,
    encode_number,
    encode_supported,
    encode_voltage,
    find_refusal,
)


def test_the_four_requests_and_no_other() -> None:
    assert [request.payload.hex() for request in REQUESTS] == ["0100", "0142", "0900", "0902"]


def test_the_published_list_of_supported_items() -> None:
    """BE 1F A8 13: the table of items in the documentation of a general OBD library (Racket, obd2)."""
    items = decode_supported(WHAT_NOW, bytes.fromhex("4100BE1FA813"))
    expected = "01 03 04 05 06 07 0C 0D 0E 0F 10 11 13 15 1C 1F 20"
    assert [f"{item:02X}" for item in sorted(items)] == expected.split()


def test_the_published_voltage() -> None:
    """31 38 is 12.6 V: 0.001 V a bit (python-OBD, unit 0B, run)."""
    assert decode_voltage(bytes.fromhex("41423138")) == 12.6
    assert decode_voltage(bytes.fromhex("4142FFFF")) == 65.535


@given(st.integers(0, 65535))
def test_voltages_go_there_and_back(millivolts: int) -> None:
    assert decode_voltage(encode_voltage(millivolts / 1000)) == millivolts / 1000


@given(st.frozensets(st.integers(1, 32)), st.sampled_from([WHAT_NOW, WHAT_VEHICLE]))
def test_lists_of_items_go_there_and_back(items: frozenset[int], request: object) -> None:
    assert decode_supported(request, encode_supported(request, items)) == items  # type: ignore[arg-type]


@given(st.text("0123456789ABCDEFGHJKLMNPRSTUVWXYZ", min_size=17, max_size=17))
def test_numbers_go_there_and_back(number: str) -> None:
    assert decode_number(encode_number(number)) == number


@given(st.binary(max_size=40))
def test_any_bytes_are_a_value_or_an_answer_that_says_what_is_wrong(message: bytes) -> None:
    for decode in (decode_number, decode_voltage, lambda m: decode_supported(WHAT_NOW, m)):
        try:
            decode(message)
        except AnswerError as error:
            assert error.found
            assert error.expected


def test_a_refusal_is_told_from_an_answer_and_from_one_to_another_service() -> None:
    assert find_refusal(NUMBER, bytes.fromhex("7F0912")) == 0x12
    assert find_refusal(VOLTAGE, bytes.fromhex("7F0912")) is None
    assert find_refusal(VOLTAGE, bytes.fromhex("41423138")) is None


@pytest.mark.parametrize("message", ["", "49", "490201", "62F19031", "414231", "41423138FF"])
def test_answers_to_something_else_are_not_taken(message: str) -> None:
    raw = bytes.fromhex(message)
    with pytest.raises(AnswerError):
        decode_number(raw)
    with pytest.raises(AnswerError):
        decode_voltage(raw)
