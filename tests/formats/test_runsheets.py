"""Reading and writing run sheets."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings

from bittern.core.errors import FaultsError, InputError
from bittern.engines.pairing.sheet import Failure, Signal
from bittern.formats.runsheets import MAX_STEPS, parse_runsheet, read_runsheet, write_runsheet
from tests.strategies.sheets import any_sheets

SHEET = """
id = "marsh-turn-pair"
title = "Pair a turn key, marsh family"
start = "settle"
needs = ["authority", "every-key"]
census = "present-only"
[[step]]
id = "settle"
kind = "act"
say = "Close all doors."
typical_s = 30
slowest_s = 90.5
then = "fine"
fails = [{to = "low", chance = 0.03, because = "battery tired"}]
signal = {kind = "lamp", count = 3}
window_s = 40
no_return = true
[[step]]
id = "fine"
kind = "end"
outcome = "good"
[[step]]
id = "low"
kind = "end"
outcome = "unchanged"
"""


def faults_of(text: str) -> dict[str, str]:
    with pytest.raises(FaultsError) as caught:
        parse_runsheet(text, file="a.toml")
    assert {fault.file for fault in caught.value.faults} == {"a.toml"}
    return {fault.where: fault.found for fault in caught.value.faults}


def test_every_key_of_the_format_arrives() -> None:
    sheet = parse_runsheet(SHEET)
    assert (sheet.id, sheet.title, sheet.start, sheet.census) == (
        "marsh-turn-pair",
        "Pair a turn key, marsh family",
        "settle",
        "present-only",
    )
    assert sheet.needs == ("authority", "every-key")
    assert list(sheet.steps) == ["settle", "fine", "low"]
    step = sheet.steps["settle"]
    assert (step.kind, step.typical_s, step.slowest_s, step.then) == ("act", 30.0, 90.5, "fine")
    assert step.fails == (Failure("low", 0.03, "battery tired"),)
    assert step.signal == Signal("lamp", 3)
    assert (step.window_s, step.no_return) == (40.0, True)
    assert sheet.steps["fine"].outcome == "good"


@settings(deadline=None)
@given(any_sheets())
def test_a_sheet_written_and_read_is_the_same_sheet(sheet) -> None:
    again = parse_runsheet(write_runsheet(sheet))
    assert again == sheet
    assert list(again.steps) == list(sheet.steps)


def test_unknown_keys_are_left_alone() -> None:
    more = SHEET.replace('id = "settle"', 'id = "settle"\ncolour = "brass"').replace(
        "needs", "later = {a = 1}\nneeds", 1
    )
    assert parse_runsheet(more) == parse_runsheet(SHEET)


def test_a_slowest_time_left_out_is_the_typical_one() -> None:
    assert parse_runsheet(SHEET.replace("slowest_s = 90.5\n", "")).steps["settle"].slowest_s == 30.0


def test_dangling_ways_are_for_the_check_not_for_the_reader() -> None:
    assert (
        parse_runsheet(SHEET.replace('then = "fine"', 'then = "nowhere"')).steps["settle"].then == "nowhere"
    )


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ('kind = "act"', 'kind = "dance"', "settle.kind"),
        ('kind = "act"\n', "", "settle.kind"),
        ('id = "marsh-turn-pair"\n', "", "id"),
        ('census = "present-only"', 'census = "some"', "census"),
        ('start = "settle"', "start = 3", "start"),
        ("chance = 0.03", "chance = 1.5", "settle.fails 1.chance"),
        ("chance = 0.03", "chance = -0.1", "settle.fails 1.chance"),
        ("chance = 0.03, ", "", "settle.fails 1.chance"),
        ("typical_s = 30", 'typical_s = "long"', "settle.typical_s"),
        ("typical_s = 30", "typical_s = true", "settle.typical_s"),
        ("typical_s = 30", "typical_s = nan", "settle.typical_s"),
        ("typical_s = 30", "typical_s = inf", "settle.typical_s"),
        ("typical_s = 30", "typical_s = -1", "settle.typical_s"),
        ("typical_s = 30", "typical_s = 1" + "0" * 400, "settle.typical_s"),
        ("count = 3", "count = 0", "settle.signal.count"),
        ('kind = "lamp"', 'kind = "smoke"', "settle.signal.kind"),
        ("no_return = true", "no_return = 1", "settle.no_return"),
        ('id = "low"', 'id = "fine"', "fine"),
        ('id = "low"\n', "", "step 3.id"),
        ('outcome = "good"', 'outcome = "great"', "fine.outcome"),
        ('needs = ["authority", "every-key"]', 'needs = ["authority", 3]', "needs 2"),
        ('needs = ["authority", "every-key"]', "supply = 12", "supply"),
        ('needs = ["authority", "every-key"]', 'supply = {least_v = "low"}', "supply.least_v"),
        ('needs = ["authority", "every-key"]', "supply = {least_v = 0.5}", "supply.least_v"),
        ('needs = ["authority", "every-key"]', "supply = {least_v = 12, comfort_v = 11}", "supply.comfort_v"),
        ('needs = ["authority", "every-key"]', 'needs = ["authority", "authority"]', "needs 2"),
        ("signal = {kind", "options = [3]\nsignal = {kind", "settle.options 1"),
        ("fails = [{to", "fails = 3\nother = [{to", "settle.fails"),
    ],
)
def test_a_broken_form_is_one_fault_at_its_place(old: str, new: str, where: str) -> None:
    assert old in SHEET
    assert list(faults_of(SHEET.replace(old, new, 1))) == [where]


def test_all_faults_are_collected() -> None:
    text = SHEET.replace('kind = "act"', 'kind = "dance"').replace("chance = 0.03", "chance = 3")
    text = text.replace('outcome = "good"', 'outcome = "great"').replace('title = "Pair', 'titel = "Pair')
    assert set(faults_of(text)) == {"settle.kind", "settle.fails 1.chance", "fine.outcome", "title"}


def test_no_steps_and_too_many_steps_are_faults() -> None:
    head = SHEET.partition("[[step]]")[0]
    assert "step" in faults_of(head)
    many = head + "".join(f'[[step]]\nid = "s{n}"\nkind = "end"\n' for n in range(MAX_STEPS + 1))
    assert faults_of(many) == {"step": f"{MAX_STEPS + 1} steps"}


@pytest.mark.parametrize(
    "text",
    [
        "not toml at all",
        "id = ",
        'id = "heron-8"\nkind = "edge"\n',
        "",
        'start = "a"\x00',
        "a = " + "[" * 100_000,
        "a = 1" + "0" * 5_000,
        "# " + "x" * 5_000_001,
        "# " + "ü" * 2_600_000,
    ],
    ids=[
        "words",
        "torn",
        "another format",
        "empty",
        "nul",
        "nested",
        "huge number",
        "too long",
        "too many bytes",
    ],
)
def test_what_is_no_run_sheet_at_all_is_unreadable(text: str) -> None:
    with pytest.raises(InputError) as caught:
        parse_runsheet(text, file="a.toml")
    assert caught.value.where == "a.toml"
    assert "\n" not in str(caught.value)


def test_files_are_read_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "marsh.toml"
    path.write_text("\ufeff" + SHEET, encoding="utf-8")
    assert read_runsheet(path) == parse_runsheet(SHEET)
    path.write_bytes(b"\x89PNG\r\n\x1a\n\xff\xfe")
    with pytest.raises(InputError, match="UTF-8"):
        read_runsheet(path)
    path.write_bytes(b"#" * 5_000_001)
    with pytest.raises(InputError, match="at most 5,000,000 bytes"):
        read_runsheet(path)
    for wrong in (tmp_path, tmp_path / "missing.toml"):
        with pytest.raises(InputError) as caught:
            read_runsheet(wrong)
        assert str(wrong) in str(caught.value)
