"""``bittern runsheet`` as a person or a program calls it."""

from __future__ import annotations

import io
import json
from pathlib import Path

import pytest

from bittern.cli.main import main

SHEET = """
id = "fen-pair"
title = "Pair a turn key, fen family"
start = "look"
needs = ["authority", "every-key"]
census = "present-only"
[[step]]
id = "look"
kind = "check"
say = "See that the lamp is on."
typical_s = 10
slowest_s = 10
then = "which"
fails = [{to = "as-it-was", chance = 0.2, because = "lamp stays dark"}]
[[step]]
id = "which"
kind = "choose"
say = "How does it start?"
options = [{label = "turn", then = "wipe"}, {label = "push", then = "look"}]
[[step]]
id = "wipe"
kind = "act"
say = "Hold the button until the locks cycle."
typical_s = 20
slowest_s = 20
window_s = 30
no_return = true
signal = {kind = "lock-cycle", count = 2, text = "twice"}
then = "fine"
fails = [{to = "stuck", chance = 0.1, because = "let go too soon"}]
[[step]]
id = "fine"
kind = "end"
say = "Every key that is here works."
outcome = "good"
[[step]]
id = "as-it-was"
kind = "end"
outcome = "unchanged"
[[step]]
id = "stuck"
kind = "end"
outcome = "stranded"
recovery = "The maker's own workshop comes to the vehicle."
"""
GOOD = """
# A whole rehearsal
yes
the owner's, here, works, old
the valet's, away, works, old
the new one, here, unknown, new
enough

done
2
done
1
wipe
done
"""


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "fen.toml"
    path.write_text(SHEET, encoding="utf-8")
    return path


def call(capsys: pytest.CaptureFixture[str], *words: object) -> tuple[int, dict[str, object], str]:
    code = main(["runsheet", *map(str, words), "--json"])
    out, err = capsys.readouterr()
    return code, json.loads(out) if out else {}, err


def test_check_gives_the_fixed_keys(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, data, err = call(capsys, "check", sheet)
    assert (code, err) == (0, "")
    assert data["ok"] is True
    assert data["faults"] == []
    # look is left for good with 1/5 unchanged and 2/5 to wipe; 2/5 come back: 1/3 and 2/3 in the end.
    assert data["p_unchanged"] == pytest.approx(1 / 3)
    assert data["p_good"] == pytest.approx(2 / 3 * 0.9)
    assert data["p_stranded"] == pytest.approx(2 / 3 * 0.1)
    # Visits to look: 1 / (1 - 2/5). By 30 s 0.712 of the runs are over, by 40 s 0.8848, by 50 s 0.95392.
    assert data["time_s"] == pytest.approx({"mean": 10 * 5 / 3 + 20 * 2 / 3, "p50": 30, "p90": 50})
    assert data["points_of_no_return"] == ["wipe"]
    assert data["census"] == "present-only"
    # The engine tells where each path leaves the keys, and what would gain most.
    ends = {(one["end"], one["passed_no_return"]): one["works"] for one in data["ends"]}
    assert ends["fine", "yes"] == {"old_here": True, "old_away": False, "new": True}
    assert ends["stuck", "maybe"] == {"old_here": False, "old_away": False, "new": False}
    best = data["gains"][0]
    assert (best["step"], best["because"]) == ("look", "lamp stays dark")
    # Without it every run comes to wipe: 0.9 end well instead of 0.6.
    assert best["p_good"] == pytest.approx(0.3)
    assert data["matters_most"][0].startswith("Without “lamp stays dark” at look: 30.0 more of 100 runs")


def test_check_finds_faults_of_content_and_keeps_the_figures_it_can(
    sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet.write_text(SHEET.replace("recovery", "rescue"), encoding="utf-8")
    code, data, _ = call(capsys, "check", sheet)
    assert (code, data["ok"]) == (1, False)
    (fault,) = data["faults"]
    assert (fault["file"], fault["where"]) == ("fen.toml", "stuck")
    assert set(fault) == {"file", "where", "found", "expected"}
    assert data["p_good"] == pytest.approx(0.6)
    sheet.write_text(SHEET.replace("slowest_s = 20", "slowest_s = 2"), encoding="utf-8")
    code, data, _ = call(capsys, "check", sheet)
    assert code == 1
    assert data["p_good"] == pytest.approx(0.6)
    assert data["time_s"] == {"mean": None, "p50": None, "p90": None}
    sheet.write_text(SHEET.replace('then = "fine"', 'then = "nowhere"'), encoding="utf-8")
    code, data, _ = call(capsys, "check", sheet)
    assert code == 1
    assert data["p_good"] is data["p_unchanged"] is data["p_stranded"] is data["time_s"]["mean"] is None
    assert data["points_of_no_return"] == ["wipe"]


def test_check_of_a_broken_form_lists_every_fault(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet.write_text(SHEET.replace('kind = "act"', 'kind = "dance"').replace("0.2", "2"), encoding="utf-8")
    code, data, _ = call(capsys, "check", sheet)
    assert code == 1
    assert [fault["where"] for fault in data["faults"]] == ["look.fails 1.chance", "wipe.kind"]
    assert data["census"] is None


@pytest.mark.parametrize("content", [b"\x89PNG\xff", b"no toml", b'id = "x"\nkind = "edge"'])
@pytest.mark.parametrize("command", ["check", "rehearse"])
def test_what_is_no_run_sheet_is_one_line_and_exit_2(
    command: str, content: bytes, sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet.write_bytes(content)
    code, data, err = call(capsys, command, sheet)
    assert (code, data) == (2, {})
    assert err.count("\n") == 1
    assert call(capsys, command, sheet.with_name("missing.toml"))[0] == 2


def test_check_speaks_to_a_person_too(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["runsheet", "check", str(sheet)]) == 0
    out = capsys.readouterr().out
    assert "sound" in out
    assert "60.00%" in out
    assert "what matters most:\n    Without “lamp stays dark” at look:" in out
    assert "points of no return: wipe; census: present-only" in out
    sheet.write_text(SHEET.replace("recovery", "rescue"), encoding="utf-8")
    assert main(["runsheet", "check", str(sheet)]) == 1
    assert "fault: fen.toml: stuck" in capsys.readouterr().out


def rehearse(
    capsys: pytest.CaptureFixture[str], sheet: Path, text: str
) -> tuple[int, dict[str, object], str]:
    script = sheet.with_name("answers.txt")
    script.write_text(text, encoding="utf-8")
    return call(capsys, "rehearse", sheet, "--script", script)


def test_a_script_walks_to_the_end_by_the_runners_rules(
    sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, data, err = rehearse(capsys, sheet, GOOD)
    assert (code, data["ended"], data["outcome"], data["passed_no_return"]) == (0, True, "good", True)
    kinds = ["begun", "census", "done", "chosen", "done", "chosen", "confirmed", "done"]
    assert [event["kind"] for event in data["events"]] == kinds
    assert [key["works"] for key in data["keys"]] == [True, False, True]
    assert "Keys that will stop working: the valet's." in err
    assert "no vehicle behind it" in err
    assert rehearse(capsys, sheet, GOOD)[1] == data


@pytest.mark.parametrize(
    ("answers", "code", "outcome", "step"),
    [
        (GOOD + "done", 2, None, None),
        ("yes\nthe new one, here, unknown, new\nenough\nfails 1", 1, "unchanged", "as-it-was"),
        ("yes\nthe new one, here, unknown, new\nenough\ndone\n1\nwipe\nfails", 1, "stranded", "stuck"),
        ("yes\nthe new one, here, unknown, new\nenough\ndone\nstop", 1, None, "which"),
        ("yes\nthe new one, here, unknown, new\nenough\ndone", 1, None, "which"),
        ("", 1, None, "look"),
    ],
)
def test_other_ends_are_a_no(
    answers: str,
    code: int,
    outcome: str | None,
    step: str | None,
    sheet: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    found, data, _ = rehearse(capsys, sheet, answers)
    assert found == code
    assert data.get("outcome") == outcome
    assert data.get("step") == step


@pytest.mark.parametrize(
    ("old", "new", "line"),
    [
        ("yes", "no", 3),
        ("the new one, here, unknown, new", "the new one, here", 6),
        ("the new one, here, unknown, new", "a, here, maybe, new", 6),
        ("\n2\n", "\n3\n", 10),
        ("\n2\n", "\n\u0662\n", 10),
        ("\n2\n", "\ndone\n", 10),
        ("\nwipe\n", "\nok\n", 13),
        ("\nwipe\n", "\ndone\n", 13),
        ("\ndone\n2", "\nfails 2\n2", 9),
        ("\ndone\n2", "\nperhaps\n2", 9),
    ],
)
def test_an_answer_that_does_not_fit_names_its_line(
    old: str, new: str, line: int, sheet: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert old in GOOD
    code, data, err = rehearse(capsys, sheet, GOOD.replace(old, new, 1))
    assert (code, data) == (2, {})
    assert f"answers.txt: line {line}:" in err.splitlines()[-1]


def test_a_person_is_asked_again(
    sheet: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = "perhaps\nyes\nenough\nmine, here, works, old\nenough\nfine\ndone\n7\n1\nwipe\nfails\n"
    monkeypatch.setattr("sys.stdin", io.StringIO(answers))
    assert main(["runsheet", "rehearse", str(sheet)]) == 1
    out, err = capsys.readouterr()
    assert out.startswith("ended: stranded.")
    assert "recovery: The maker's own workshop comes to the vehicle." in out
    assert "key mine: will not work" in out
    assert "'yes' or 'stop'" in err
    assert "No key is in the census." in err
    assert "a number from 1 to 2" in err


def test_a_sheet_with_faults_is_not_rehearsed(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    sheet.write_text(SHEET.replace("recovery", "rescue"), encoding="utf-8")
    code, data, _ = rehearse(capsys, sheet, GOOD)
    assert (code, data["ok"], len(data["faults"]), data["events"]) == (1, False, 1, [])


def test_a_script_that_is_no_text_is_unreadable(sheet: Path, capsys: pytest.CaptureFixture[str]) -> None:
    script = sheet.with_name("answers.txt")
    script.write_bytes(b"\xff\xfe")
    assert call(capsys, "rehearse", sheet, "--script", script)[0] == 2


def test_a_sheet_with_a_supply_asks_for_a_reading_before_its_point_of_no_return(
    sheet: Path, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    sheet.write_text("supply = {least_v = 12.2}" + SHEET, encoding="utf-8")
    script = tmp_path / "answers"
    script.write_text(GOOD.replace("wipe\n", "supply 12.1\nsupply 12.6\nwipe\n"), encoding="utf-8")
    code, data, err = call(capsys, "rehearse", sheet, "--script", script)
    assert (code, data["outcome"]) == (0, "good")
    assert "at least 12.2" in err
    for answer in ("wipe", "supply", "supply much", "supply -1", "supply 61"):
        script.write_text(GOOD.replace("wipe\n", answer + "\n", 1), encoding="utf-8")
        code, data, err = call(capsys, "rehearse", sheet, "--script", script)
        assert (code, data) == (2, {})
        assert err.splitlines()[-1].startswith("bittern: answers: line 13")
