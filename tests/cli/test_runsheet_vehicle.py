"""``bittern runsheet rehearse --vehicle``: the walk, its vehicle and the score are those of the engine."""

from __future__ import annotations

import io
import json
from pathlib import Path
from typing import Any

import pytest

from bittern.cli.main import main
from bittern.engines.pairing.course import KEYS, Lesson, make_course
from bittern.engines.pairing.event import RunEvent
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.pairing.vehicle import make_vehicle
from bittern.engines.pairing.vehicle_state import Deed, Sign, Vehicle
from bittern.formats.runsheets import read_runsheet, write_runsheet
from tests.engines.pairing.students import Student

PACK = Path(__file__).parents[2] / "src/bittern/demo/pack/runsheets"
SHEETS = {path.stem: read_runsheet(path) for path in sorted(PACK.glob("*.toml"))}
COURSE = make_course(SHEETS.values())
DEEDS = {"connect-supply": "connect supply", "look": "look", "do": "do"}


class Writer(Student):
    """A student who writes down every answer that the command line takes."""

    def __init__(self, sheet: RunSheet, vehicle: Vehicle) -> None:
        super().__init__(sheet, vehicle)
        self.answers: list[str] = []

    def act(self, deed: Deed) -> tuple[Sign, ...]:
        """Write and act."""
        self.answers.append(f"fetch {deed.key}" if deed.kind == "fetch-key" else DEEDS[deed.kind])
        return super().act(deed)

    def say(self, kind: str, **details: object) -> None:
        """Write and say."""
        step = self.sheet.steps[self.state.step_id]
        super().say(kind, **details)
        self.answers.append(word_event(step.id, self.sheet, self.events[-1]))


def word_event(step_id: str, sheet: RunSheet, event: RunEvent) -> str:
    step = sheet.steps[step_id]
    if event.kind == "failed":
        return f"fails {[failure.to for failure in step.fails].index(event.to) + 1}"
    if event.kind == "chosen":
        return str([option.label for option in step.options].index(event.choice) + 1)
    words = {"begun": "yes", "census": "count", "confirmed": step_id, "abandoned": "stop", "done": "done"}
    return words.get(event.kind) or f"supply {event.volts:g}"


def rehearse(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, sheet: RunSheet, answers: list[str], *more: str
) -> tuple[int, dict[str, Any], str]:
    file, script = tmp_path / "sheet.toml", tmp_path / "answers.txt"
    file.write_text(write_runsheet(sheet), encoding="utf-8")
    script.write_text("\n".join(answers), encoding="utf-8")
    code = main(["runsheet", "rehearse", str(file), "--script", str(script), "--vehicle", "--json", *more])
    out, err = capsys.readouterr()
    return code, json.loads(out) if out else {}, err


@pytest.mark.parametrize("lesson", COURSE, ids=lambda lesson: lesson.title)
def test_a_careful_script_has_the_points_of_the_engine(
    lesson: Lesson, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    sheet, seed = SHEETS[lesson.sheet_id], lesson.seed % 2**31
    writer = Writer(sheet, make_vehicle(sheet, KEYS, lesson.faults, seed))
    score = writer.run()
    faults = [word for name in lesson.faults for word in ("--fault", name)]
    code, data, err = rehearse(capsys, tmp_path, sheet, writer.answers, "--seed", str(seed), *faults)
    assert (code, data["points"], data["success"]) == (0 if score.success else 1, score.points, score.success)
    assert data["outcome"] == writer.state.outcome
    vehicle = data["vehicle"]
    assert vehicle["outcome"] == writer.vehicle.outcome
    assert vehicle["keys"] == [
        {"name": key.name, "works": key.known and writer.vehicle.outcome != "stranded"}
        for key in writer.vehicle.keys
    ]
    assert [event["kind"] for event in data["events"]] == [event.kind for event in writer.events]
    assert "You saw nothing." in err or "signal-missed" not in lesson.faults


def test_a_lie_costs_the_success_and_says_what_was_right(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    sheet = SHEETS["marsh-remote-sync"]
    code, data, _ = rehearse(capsys, tmp_path, sheet, ["yes", "done", "do", "stop"])
    assert (code, data["success"]) == (1, False)
    kinds = [reason["kind"] for reason in data["reasons"]]
    assert kinds == ["untruth", "wrong_order", "gave_up"]
    assert [reason["step"] for reason in data["reasons"]] == ["settle", "cell", "cell"]
    assert all(reason["found"] and reason["right"].startswith("Right: ") for reason in data["reasons"])
    assert data["points"] == 100 - sum(reason["points"] for reason in data["reasons"]) == 40


def test_a_person_reads_signs_lamps_and_meter(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = "do\nyes\nmeter\nfetch the moon\ndo the moon\ndo\ndone\nopen door\nclose doors\nstop\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(answers))
    sheet = PACK / "marsh-remote-sync.toml"
    assert main(["runsheet", "rehearse", str(sheet), "--vehicle"]) == 1
    out, err = capsys.readouterr()
    assert "75 points of 100: no success" in out
    assert "The new key does not work" in out
    for words in ("12.7 V", "> It went as the step says.", "lamps lit: ignition, door", "no key is away"):
        assert words in err, words
    assert "the name of a key that is here" in err
    assert "no vehicle behind it" not in err


@pytest.mark.parametrize(
    "more",
    [
        ("--vehicle", "--fault", "a flat tyre"),
        ("--seed", "3"),
        ("--fault", "low-supply"),
        ("--vehicle", "--seed", "-1"),
    ],
)
def test_options_that_do_not_fit_are_bad_usage(
    more: tuple[str, ...], capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    sheet = PACK / "marsh-remote-sync.toml"
    assert main(["runsheet", "rehearse", str(sheet), *more]) == 2
    out, err = capsys.readouterr()
    assert (out, bool(err)) == ("", True)
