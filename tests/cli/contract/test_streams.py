"""What goes where: results to standard output, all else to standard error, and the exit code beside them."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.contract.calls import BITTING, CLASSIC, FILES, PACK, Answer, outside, start

SHEET = PACK / "runsheets" / "marsh-turn-pair.toml"
CONTOUR = ("blade", "contour", "--standard", "heron-8", "--bitting", BITTING, "--pack", PACK)

# One call of each exit code for every kind of command.
CALLS: dict[str, tuple[int, tuple[object, ...]]] = {
    "a valid number": (0, ("vin", "check", CLASSIC)),
    "a number that is not": (1, ("vin", "check", "1M8GDM9A1KP042788")),
    "nothing to suggest": (1, ("vin", "suggest", "ABC")),
    "a make": (0, ("vin", "decode", CLASSIC)),
    "not settled": (0, ("identify", FILES / "observations.json", "--pack", PACK)),
    "a contour": (0, CONTOUR),
    "a bitting against the rules": (1, (*CONTOUR[:4], "--bitting", "1 1 1 1 1 1 1 1")),
    "a sound sheet": (0, ("runsheet", "check", SHEET)),
    "a sheet with a fault": (1, ("runsheet", "check", FILES / "runsheets" / "marsh-turn-pair.toml")),
    "a rehearsal without answers": (1, ("runsheet", "rehearse", SHEET)),
    "a sound pack": (0, ("pack", "check", PACK)),
}


@pytest.mark.parametrize(("code", "words"), CALLS.values(), ids=CALLS)
def test_standard_output_holds_one_json_object_and_nothing_else(code: int, words: tuple[object, ...]) -> None:
    answer = outside(*words, "--json")
    assert answer.code == code
    assert answer.data
    assert "Traceback" not in answer.err


def test_without_json_results_are_words_on_standard_output() -> None:
    answer = outside("vin", "check", CLASSIC)
    assert (answer.code, answer.err) == (0, "")
    assert CLASSIC in answer.out
    with pytest.raises(json.JSONDecodeError):
        json.loads(answer.out)


def test_the_installed_command_is_the_same_program() -> None:
    program = Path(sys.executable).with_name("bittern")
    done = subprocess.run(
        [program, "vin", "check", CLASSIC, "--json"], capture_output=True, timeout=60, check=True
    )
    assert Answer(0, done.stdout.decode(), "").data == outside("vin", "check", CLASSIC, "--json").data


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (0, (*CONTOUR, "--step", "0.001", "--json")),
        (0, ("vin", "suggest", CLASSIC, "--json")),
        (1, ("vin", "check", "1M8GDM9A1KP042788", "--json")),
        (0, ("--help",)),
        (0, ("--version",)),
    ],
    ids=["much", "little", "no", "help", "version"],
)
def test_a_reader_that_goes_away_is_no_fault_and_the_answer_stands(
    code: int, words: tuple[object, ...]
) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    try:
        done = start(*words, stdout=writer, stderr=subprocess.PIPE)
    finally:
        os.close(writer)
    assert (done.returncode, done.stderr) == (code, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="needs /dev/full")
@pytest.mark.parametrize(
    "words", [("vin", "check", CLASSIC, "--json"), ("vin", "check", CLASSIC), ("--help",), ("--version",)],
    ids=["json", "words", "help", "version"],
)  # fmt: skip
def test_a_full_disk_under_standard_output_is_one_line(words: tuple[object, ...]) -> None:
    with Path("/dev/full").open("wb") as full:
        done = start(*words, stdout=full, stderr=subprocess.PIPE)
    Answer(done.returncode, "", done.stderr.decode()).refuse()


@pytest.mark.parametrize(
    ("closed", "words", "code"),
    [
        ("<&-", ["runsheet", "rehearse", str(SHEET), "--json"], 1),
        ("<&-", ["job", "open", "-", "--person", "odile"], 2),
        (">&-", ["vin", "check", CLASSIC, "--json"], 2),
        ("2>&-", ["vin", "check", "", "--json"], 2),
        ("2>&-", ["vin", "check", CLASSIC, "--json"], 0),
    ],
)
def test_a_closed_stream_is_no_traceback(closed: str, words: list[str], code: int) -> None:
    line = f'exec "$@" {closed}'
    done = subprocess.run(
        ["/bin/sh", "-c", line, "sh", sys.executable, "-m", "bittern", *words],
        capture_output=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, b"Traceback" in done.stderr) == (code, False)


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "cp1252", "utf-16"])
def test_json_is_the_same_in_every_encoding_of_the_terminal(encoding: str) -> None:
    words = ("vin", "suggest", "WM8GDM9AXKP042788")
    done = start(*words, "--json", environment={"PYTHONIOENCODING": encoding})
    assert (done.returncode, done.stderr) == (0, b"")
    found = json.loads(done.stdout.decode("utf-16" if encoding == "utf-16" else "ascii"))
    assert found == outside(*words, "--json").data
    assert any("→" in change for one in found["suggestions"] for change in one["changes"])
    assert start(*words, environment={"PYTHONIOENCODING": encoding}).returncode == 0


def test_arguments_in_bytes_that_are_no_text_are_shown_as_such() -> None:
    answer = outside("vin", "check", b"1M8\xff\xfe", "--json")
    assert (answer.code, answer.data["vin"]) == (1, "1M8\ufffd\ufffd")
    outside("identify", b"/none/\xff.json", "--json").refuse()


@pytest.fixture
def interruptible() -> Iterator[None]:
    """What a shell starts in its background ignores interrupts, and so do its children."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("interruptible")
def test_an_interrupt_is_130_and_one_line() -> None:
    line = [sys.executable, "-m", "bittern", "runsheet", "rehearse", str(SHEET)]
    with subprocess.Popen(
        line, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stderr is not None
        process.stderr.readline()
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (130, b"")
    assert err.endswith(b"bittern: stopped\n")
    assert b"Traceback" not in err


def test_answers_from_standard_input_and_from_a_script_end_alike(tmp_path: Path) -> None:
    answers = "yes\nthe old one, here, works, old\nthe new one, here, unknown, new\nenough\ndone\ndone\n3\n"
    script = tmp_path / "answers.txt"
    script.write_text(answers)
    by_script = outside("runsheet", "rehearse", SHEET, "--script", script, "--json")
    by_hand = outside("runsheet", "rehearse", SHEET, "--json", input=answers.encode())
    for answer in (by_script, by_hand):
        assert (answer.code, answer.data["outcome"], answer.data["step"]) == (1, "unchanged", "as-it-was")
    kinds = [[event["kind"] for event in answer.data["events"]] for answer in (by_script, by_hand)]
    assert kinds[0] == kinds[1]
