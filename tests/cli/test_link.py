"""``bittern link``: what is read, what stops, and that it works without an adapter."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from bittern.demo import PACK_DIR
from bittern.formats.packs import read_pack
from bittern.work.number_on_board import compare_number
from tests.cli.contract.calls import Call, in_process
from tests.link.vehicle import NUMBER, Unit, list_allowed, serving, to_frame, usual_answers
from tests.work.conftest import Bench


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    return in_process(capsys)


def test_number_and_voltage_are_printed_and_given_as_json(call: Call) -> None:
    with serving("cli-read", Unit(usual_answers())) as sent:
        answer = call("link", "read", "--channel", "virtual:cli-read", "--json")
        plain = call("link", "read", "--channel", "virtual:cli-read", "--bits", 11)
    assert (answer.code, answer.err) == (0, "")
    assert answer.data["number"] == NUMBER
    assert answer.data["supply_v"] == 12.6
    assert answer.data["supply"]["level"] == "steady"
    assert answer.data["job"] is None
    assert plain.out.splitlines()[:2] == [f"Number on board: {NUMBER}", "Supply: 12.60 V, steady enough."]
    assert set(map(to_frame, sent)) <= list_allowed(11, [0])


def test_a_vehicle_that_gives_no_number_is_an_answer_of_no(call: Call) -> None:
    answers = usual_answers()
    del answers["0902"]
    with serving("cli-none", Unit(answers)):
        answer = call("link", "read", "--channel", "virtual:cli-none", "--json")
    assert answer.code == 1
    assert answer.data["number"] is None
    assert answer.data["supply_v"] == 12.6


@pytest.mark.parametrize("same", [True, False])
def test_the_jobs_number_is_compared(call: Call, monkeypatch: pytest.MonkeyPatch, same: bool) -> None:
    from bittern.cli import handover

    bench = Bench(read_pack(PACK_DIR))
    bench.carry_to_key()
    assert bench.job.vehicle is not None
    number = bench.job.vehicle.vin if same else NUMBER
    monkeypatch.setattr(handover, "open_desk", lambda data: bench.desk)
    with serving(f"cli-job-{same}", Unit(usual_answers(number))):
        channel = f"virtual:cli-job-{same}"
        answer = call("link", "read", "--channel", channel, "--job", bench.number, "--bits", 11, "--json")
    expected = compare_number(bench.desk, bench.job, [number])
    assert answer.code == (0 if same else 1)
    assert answer.data["job"] == {"number": bench.number, **json.loads(json.dumps(expected.as_dict()))}
    assert answer.data["job"]["stops"] is not same


def test_a_silent_vehicle_is_one_line(call: Call) -> None:
    refused = call("link", "read", "--channel", "virtual:cli-silent").refuse()
    assert "type number and voltage in" in refused


@pytest.mark.parametrize("channel", ["slcan:/dev/no-such-port", "socketcan:nowhere9"])
def test_no_adapter_is_one_line_that_says_what_to_do(call: Call, channel: str) -> None:
    assert "type them in" in call("link", "read", "--channel", channel).refuse()


def test_the_supply_is_watched(call: Call) -> None:
    with serving("cli-supply", Unit(usual_answers(volts="2DB4"))):
        words = ("--channel", "virtual:cli-supply", "--seconds", 1, "--bits", 11, "--json")
        answer = call("link", "supply", *words)
    assert answer.code == 1
    assert answer.data["level"] == "too-low"
    assert [sample["volts"] for sample in answer.data["samples"]] == [11.7, 11.7]
    assert answer.err.count("too low") == 1


@pytest.mark.parametrize(
    ("typed", "code", "level"),
    [
        ("0:12.61", 0, "steady"),
        ("0:12.3", 0, "below-comfort"),
        ("0:11.9", 1, "too-low"),
        ("0:12.6,10:12.55,20:12.5,30:12.45,40:12.4", 1, "falling"),
    ],
)
def test_readings_by_hand_need_no_adapter(call: Call, typed: str, code: int, level: str) -> None:
    answer = call("link", "supply", "--typed", typed, "--json")
    assert (answer.code, answer.data["level"]) == (code, level)
    assert {sample["source"] for sample in answer.data["samples"]} == {"typed"}


@pytest.mark.parametrize(
    "words",
    [
        (),
        ("--typed", "0:12", "--channel", "virtual:x"),
        ("--typed", "12.6"),
        ("--typed", "0:12.6,"),
        ("--typed", "0:99"),
        ("--typed", "0:12.6", "--least", 13),
        ("--typed", "0:12.6", "--least", "nan"),
        ("--channel", "virtual:x", "--seconds", 0),
        ("--channel", "virtual:x", "--bits", 12),
        ("--channel", "virtual:x", "--speed", 9600),
    ],
)
def test_what_cannot_be_used_is_refused(call: Call, words: tuple[object, ...]) -> None:
    call("link", "supply", *words).refuse()


def test_a_job_that_does_not_exist_is_refused(call: Call, tmp_path: Path) -> None:
    with serving("cli-nojob", Unit(usual_answers())):
        words = ("--channel", "virtual:cli-nojob", "--bits", 11, "--job", 3, "--data", tmp_path)
        assert call("link", "read", *words).refuse()
