"""What cannot be read is refused with exit 2 and one line on standard error, whatever it is."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path

import pytest

from tests.cli.contract.calls import BITTING, CLASSIC, FILES, PACK, PACKED, SHEET, Call, hold, outside

SHEET_FILE = PACK / "runsheets" / "marsh-turn-pair.toml"
READERS: dict[str, tuple[object, ...]] = {
    "identify": ("identify", "FILE"),
    "blade measure": ("blade", "measure", "FILE", "--standard", "heron-8"),
    "runsheet check": ("runsheet", "check", "FILE"),
    "runsheet rehearse": ("runsheet", "rehearse", "FILE"),
    "runsheet rehearse --script": ("runsheet", "rehearse", SHEET_FILE, "--script", "FILE"),
    "pack check": ("pack", "check", "FILE"),
    "--pack": ("vin", "check", CLASSIC, "--pack", "FILE"),
}
DEEP = 200_000
CONTENTS = {
    "binary": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
    "NUL bytes": b"\0" * 100,
    "UTF-16": '{"observations": []}'.encode("utf-16"),
    "not UTF-8": b"title = '\xe9'",
    "over 5 MB": b"#" * 5_000_001,
}
# What no reader but that of a script, whose lines they may be, takes for its own.
OTHER = {
    "empty": b"",
    "nothing but a byte order mark": b"\xef\xbb\xbf",
    "prose": b"There once was a key.\n",
    "nested deeply": b"[" * DEEP,
    "nested deeply, as a value": b"a = " + b"[" * DEEP,
    "a key of thousands of parts": b"a" + b".a" * 20_000 + b" = 1\n",
    "a number of thousands of digits": b"a = " + b"9" * 5_000,
    "control characters": b"\x01\x02\x03",
    "a list": b"[]",
    "a text": b'"x"',
    "a number beyond all": b"1e999",
    "null": b"null",
    "not a number": b"NaN",
    "a quote never closed": b'position,height_mm,sd_mm\n1,"7.4',
    "another kind of file": (PACK / "tools" / "wheel-90.toml").read_bytes(),
}


def fill(words: tuple[object, ...], file: object) -> list[object]:
    return [file if word == "FILE" else word for word in words]


@pytest.mark.parametrize("as_json", [(), ("--json",)], ids=["words", "json"])
@pytest.mark.parametrize("words", READERS.values(), ids=READERS)
def test_what_is_no_file_of_text(
    call: Call, tmp_path: Path, words: tuple[object, ...], as_json: tuple[str, ...]
) -> None:
    file = tmp_path / "file"
    for content in CONTENTS.values():
        file.write_bytes(content)
        call(*fill(words, file), *as_json).refuse()
    for place in (tmp_path, tmp_path / "missing", file / "below", tmp_path / ("n" * 300), "a\0b", ""):
        call(*fill(words, place), *as_json).refuse()


@pytest.mark.parametrize(
    "words", [words for name, words in READERS.items() if "script" not in name],
    ids=[name for name in READERS if "script" not in name],
)  # fmt: skip
@pytest.mark.parametrize("content", OTHER.values(), ids=OTHER)
def test_what_is_another_kind_of_text(
    call: Call, tmp_path: Path, words: tuple[object, ...], content: bytes
) -> None:
    file = tmp_path / "file"
    file.write_bytes(content)
    assert len(call(*fill(words, file), "--json").refuse()) < 1_000


@pytest.mark.parametrize("words", READERS.values(), ids=READERS)
def test_a_pipe_that_nobody_writes_to_is_not_waited_for(tmp_path: Path, words: tuple[object, ...]) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    outside(*fill(words, pipe), "--json", timeout=30).refuse()


@pytest.mark.parametrize("name", ["identify", "blade measure", "runsheet check"])
def test_a_device_without_an_end_is_not_read(name: str) -> None:
    outside(*fill(READERS[name], "/dev/zero"), "--json", timeout=30).refuse()


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
@pytest.mark.parametrize("words", READERS.values(), ids=READERS)
def test_a_file_without_permission(call: Call, tmp_path: Path, words: tuple[object, ...]) -> None:
    file = tmp_path / "file"
    file.write_text("x")
    file.chmod(0)
    call(*fill(words, file), "--json").refuse()


def test_five_million_bytes_are_not_too_many(call: Call, tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.write_bytes(b'{"observations": []}'.ljust(5_000_000))
    assert call("identify", file, "--json").code == 0
    text = SHEET_FILE.read_bytes() + b"#"
    file.write_bytes(text.ljust(5_000_000, b"x"))
    assert call("runsheet", "check", file, "--json").code == 0


OBSERVATIONS = [
    '{"observations": [{"kind": "frequency_hz", "value": NaN, "how": "measured"}]}',
    '{"observations": [{"kind": "frequency_hz", "value": Infinity, "how": "measured"}]}',
    '{"observations": [{"kind": "frequency_hz", "value": 1e999, "how": "measured"}]}',
    '{"observations": [{"kind": "frequency_hz", "value": 433.9e6, "how": "measured", "sd": 0}]}',
    '{"observations": [{"kind": "frequency_hz", "value": "433.9e6", "how": "measured"}]}',
    '{"observations": [{"kind": "button_count", "value": 2.5, "how": "seen"}]}',
    '{"observations": [{"kind": "button_count", "value": true, "how": "seen"}]}',
    '{"observations": [{"kind": "button_count", "value": ' + "9" * 4_000 + ', "how": "seen"}]}',
    '{"observations": [{"kind": "button_count", "value": ' + "9" * 5_000 + ', "how": "seen"}]}',
    '{"observations": [{"kind": "buttons", "value": "lock", "how": "seen"}]}',
    '{"observations": [{"kind": "start", "value": "crank", "how": "told"}]}',
    '{"observations": [{"kind": "smell", "value": "oil", "how": "told"}]}',
    '{"observations": [{"kind": "chip", "value": "x", "how": "guessed"}]}',
    '{"observations": [{"kind": "chip", "value": "x"}]}',
    '{"observations": [{"kind": "chip", "how": "told"}]}',
    '{"observations": [{"kind": "chip", "value": "\\ud800", "how": "told"}]}',
    '{"observations": [{"kind": "chip", "value": "' + "x" * 10_000 + '", "how": "told"}]}',
    '{"observations": ["chip"]}',
    '{"observations": {"kind": "chip"}}',
    '{"vehicle": "Withy"}',
    '{"vehicle": {"year": "2018"}}',
    '{"vehicle": {"year": 2018.5}}',
    '{"vehicle": {"make": ["Reedmace"]}}',
    '{"vehicle": {"make": "\\udc00"}}',
    '{"observations": []} and more',
]


@pytest.mark.parametrize("text", OBSERVATIONS, ids=range(len(OBSERVATIONS)))
def test_observations_that_are_none(call: Call, tmp_path: Path, text: str) -> None:
    file = tmp_path / "case.json"
    file.write_text(text)
    assert "case.json" in call("identify", file, "--json").refuse()


HEAD = "position,height_mm,sd_mm\n"
READINGS = [
    HEAD,
    "1,7.4,0.02\n",
    HEAD.replace(",", ";") + "1;7.4;0.02\n",
    *(HEAD + row for row in ("1,nan,0.02", "1,inf,0.02", "1,7.4,0", "1,7.4,-0.02", "1,7.4,nan", "1,7.4,9e9")),
    *(HEAD + row for row in ("1,7.4", "1,7.4,0.02,1", "1,7,4,0.02", "1,,0.02", "one,7.4,0.02")),
    HEAD + "1,7.4 mm,0.02",
    *(HEAD + row for row in ("0,7.4,0.02", "9,7.4,0.02", "-1,7.4,0.02", "1.5,7.4,0.02", "٣,7.4,0.02")),
    HEAD + "9" * 5_000 + ",7.4,0.02",
    HEAD + "1,7.4,0.02\n1,7.4,0.02\n",
    HEAD + "1,7.4,0.02\n" * 5_000,
]  # fmt: skip


@pytest.mark.parametrize("text", READINGS, ids=range(len(READINGS)))
def test_readings_that_are_none(call: Call, tmp_path: Path, text: str) -> None:
    file = tmp_path / "readings.csv"
    file.write_text(text, encoding="utf-8")
    call("blade", "measure", file, "--standard", "heron-8", "--pack", PACK, "--json").refuse()


@pytest.mark.parametrize("step", ["0.000999", "0", "-1", "nan", "inf", "1e-400", "x", "", "0,5", "٣"])
def test_steps_below_a_thousandth_and_steps_that_are_none(call: Call, step: str) -> None:
    call("blade", "contour", "--standard", "heron-8", "--bitting", BITTING, "--step", step, "--json").refuse()


@pytest.mark.parametrize(
    "bitting",
    ["", "?", BITTING[:-2], BITTING + " 1", BITTING[:-1] + "9", BITTING[:-1] + "?", BITTING.replace(" ", ""),
     f"{BITTING} / {BITTING}", "x" * 100_000, "😀 " * 8, "\0", "\udcff " * 8],
    ids=range(12),
)  # fmt: skip
@pytest.mark.parametrize("command", ["contour", "chart"])
def test_bittings_that_are_none(call: Call, tmp_path: Path, command: str, bitting: str) -> None:
    out = tmp_path / "out.svg"
    where = ("--out", out) if command == "chart" else ()
    answer = call("blade", command, "--standard", "heron-8", "--bitting", bitting, *where, "--json")
    assert len(answer.refuse()) < 1_000
    assert not out.exists()


@pytest.mark.parametrize("standard", ["any", "", "HERON-8", "../heron-8", "x" * 100_000, "\udcff"])
def test_standards_that_the_pack_has_not(call: Call, standard: str) -> None:
    words = ("blade", "contour", "--standard", standard, "--bitting", BITTING, "--pack", PACK)
    assert "sorrel-4" in call(*words).refuse()


@pytest.mark.parametrize("text", ["", " ", "-", "1" * 10_000, "x" * 101])
@pytest.mark.parametrize("command", ["check", "suggest", "decode"])
def test_texts_that_are_no_vehicle_number_at_all(call: Call, command: str, text: str) -> None:
    call("vin", command, "--json", "--", text).refuse()


@pytest.mark.parametrize("place", ["", ".", "missing/out.svg", "/dev/full", "file/out.svg", "n" * 300])
def test_places_where_no_chart_can_be_written(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, place: str
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("file").write_text("kept")
    words = ("blade", "chart", "--standard", "heron-8", "--bitting", BITTING, "--pack", PACK)
    call(*words, "--out", place, "--json").refuse()
    assert Path("file").read_text() == "kept"


def test_a_title_too_long_for_a_heading(call: Call, tmp_path: Path) -> None:
    words = ("blade", "chart", "--standard", "heron-8", "--bitting", BITTING, "--pack", PACK)
    call(*words, "--out", tmp_path / "out.svg", "--title", "x" * 100_000).refuse()


def change_pack(tmp_path: Path, file: str, old: str, new: str) -> Path:
    folder = tmp_path / "pack"
    shutil.copytree(PACK, folder)
    path = folder / file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return folder


HERON = "blades/heron-8.toml"
# File, what stands there, what is put there, and the key, column or step that the fault must name.
FAULTS = {
    "length not a number": (HERON, "length = 28.0", "length = nan", "blank.length"),
    "length endless": (HERON, "length = 28.0", "length = inf", "blank.length"),
    "length a text": (HERON, "length = 28.0", 'length = "28"', "blank.length"),
    "length true": (HERON, "length = 28.0", "length = true", "blank.length"),
    "length huge": (HERON, "length = 28.0", "length = 1e300", "blank.length"),
    "length of 4,000 digits": (HERON, "length = 28.0", "length = " + "9" * 4_000, "blank.length"),
    "width huge": (HERON, "width = 8.40", "width = 1e300", "blank.width"),
    "cut off the blade": (HERON, "length = 28.0", "length = 24.0", "cuts.positions[8]"),
    "thousands of cuts": (HERON, "24.0]", "24.0" + ", 25.0" * 3_000 + "]", "cuts.positions"),
    "depths from deep to shallow": (HERON, "8.00, 7.40, 6.80, 6.20", "6.20, 6.80, 7.40, 8.00", "cuts.depths"),
    "labels too few": (HERON, '"1", "2", "3", "4"', '"1", "2", "3"', "cuts.labels"),
    "labels twice": (HERON, '"1", "2", "3", "4"', '"1", "2", "3", "1"', "cuts.labels[4]"),
    "label of an unknown cut": (HERON, '"1", "2", "3", "4"', '"1", "2", "3", "?"', "cuts.labels[4]"),
    "flank eats flat: angle": (HERON, "angle = 90", "angle = 130", "rules.macs"),
    "flank eats flat: flat": (HERON, "flat = 1.00", "flat = 2.00", "rules.macs"),
    # 4 steps of 0.6 are more than (3 - 1) / tan(45), though only four depths are there to use them.
    "flank eats flat: macs": (HERON, "macs = 2", "macs = 4", "rules.macs"),
    "no cuts": (HERON, "[cuts]", "[other]", "cuts"),
    "id unlike the file's name": (HERON, 'id = "heron-8"', 'id = "heron-9"', "id"),
    "end mill with an angle": ("tools/mill-20.toml", "teeth", "angle = 90\nteeth", "angle"),
    "wheel without": ("tools/wheel-90.toml", "angle = 90", "", "angle"),
    "no such blade": ("articles.csv", "sorrel-4", "sorrel-5", "row 5, column blade"),
    "kind unknown": ("articles.csv", "mechanical", "smart", "row 5, column kind"),
    "price missing": ("articles.csv", ",31.00,", ",,", "row 3, column price"),
    "price negative": ("articles.csv", ",31.00,", ",-31.00,", "row 3, column price"),
    "frequency not a number": ("articles.csv", "868.3e6", "nan", "row 4, column frequency_hz"),
    "article twice": ("articles.csv", "R-4,", "R-3,", "row 3, column article"),
    "no such article": ("fitments.csv", ",R-P,", ",R-Q,", "row 4, column article"),
    "no such run sheet": ("fitments.csv", "marsh-turn-pair", "fen-pair", "row 2, column runsheet"),
    "share above 1": ("fitments.csv", ",0.9,", ",1.9,", "row 4, column share"),
    "shares above 1 together": ("fitments.csv", ",0.45,", ",0.55,", "rows 2, 3, column share"),
    "years the wrong way": ("fitments.csv", "2001,2006", "2006,2001", "row 5, column year_to"),
    "start unknown": ("fitments.csv", ",push,", ",pull,", "row 4, column start"),
    "no column": ("fitments.csv", "share", "part", "row 1, column share"),
    "no title": ("pack.toml", 'title = "A pack written by hand"', "", "title"),
    "version a number": ("pack.toml", 'version = "1"', "version = 1", "version"),
    "step to nowhere": ("runsheets/marsh-turn-pair.toml", 'then = "try"', 'then = "cry"', "forget"),
}  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "where"), FAULTS.values(), ids=FAULTS)
def test_faults_of_a_pack_are_exit_1_and_each_names_its_place(
    call: Call, tmp_path: Path, file: str, old: str, new: str, where: str
) -> None:
    folder = change_pack(tmp_path, file, old, new)
    answer = call("pack", "check", folder, "--json")
    assert (answer.code, answer.err) == (1, "")
    hold(answer.data, PACKED)
    assert answer.data["ok"] is False
    assert (file, where) in [(fault["file"], fault["where"]) for fault in answer.data["faults"]]
    # Nothing of it is half-loaded by another command.
    call("blade", "contour", "--standard", "mallow-4", "--bitting", "A B C B", "--pack", folder).refuse()


def test_every_fault_of_every_file_is_listed(call: Call, tmp_path: Path) -> None:
    folder = change_pack(tmp_path, HERON, "length = 28.0", "length = -1")
    for file, old, new, _ in (FAULTS["price missing"], FAULTS["years the wrong way"], FAULTS["no title"]):
        path = folder / file
        path.write_text(path.read_text().replace(old, new, 1))
    faults = call("pack", "check", folder, "--json").data["faults"]
    assert {fault["file"] for fault in faults} == {HERON, "articles.csv", "fitments.csv", "pack.toml"}


@pytest.mark.parametrize(
    "file", [HERON, "tools/wheel-90.toml", "pack.toml", "runsheets/marsh-turn-pair.toml"]
)
def test_a_file_of_a_pack_that_is_no_toml_is_unreadable(call: Call, tmp_path: Path, file: str) -> None:
    folder = change_pack(tmp_path, file, "id", "[[[")
    assert file in call("pack", "check", folder, "--json").refuse()


def test_unknown_keys_columns_and_files_do_no_harm(call: Call, tmp_path: Path) -> None:
    folder = change_pack(tmp_path, HERON, "macs = 2", 'macs = 2\nnext = 1\n[later]\nx = "y"')
    table = folder / "articles.csv"
    table.write_text("colour," + table.read_text().replace("\nR-", "\nred,R-"))
    (folder / "notes.txt").write_bytes(b"\xff")
    (folder / "blades" / "old.bak").write_bytes(b"\xff")
    assert call("pack", "check", folder, "--json").data["ok"] is True


def test_a_pack_saved_elsewhere_is_the_same_pack(call: Call, tmp_path: Path) -> None:
    folder = tmp_path / "pack"
    shutil.copytree(PACK, folder)
    for path in folder.rglob("*.*"):
        path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert call("pack", "check", folder, "--json").data["faults"] == []
    words = ("blade", "contour", "--standard", "heron-8", "--bitting", BITTING, "--json", "--pack")
    assert call(*words, folder).data == call(*words, PACK).data


# What is put in place of a line of the sheet, and the step that the fault must name.
SHEET_FAULTS = {
    "chances above 1": ('chance = 0.05', "chance = 0.85", "try"),
    "window too short": ("window_s = 10", "window_s = 7.9", "wake"),
    "slowest below typical": ("slowest_s = 90", "slowest_s = 29", "settle"),
    "no recovery": ("recovery = ", "rescue = ", "stuck"),
    "a failure to nowhere": ('to = "stuck"', 'to = "struck"', "try"),
    "an end without outcome": ('outcome = "stranded"', "", "stuck"),
    "no options": ("options =", "choices =", "how-many"),
    "start nowhere": ('start = "settle"', 'start = "settled"', "start"),
    "time not a number": ("typical_s = 30", "typical_s = nan", "settle.typical_s"),
    "time endless": ("slowest_s = 90", "slowest_s = inf", "settle.slowest_s"),
    "kind unknown": ('kind = "check"', 'kind = "dance"', "try.kind"),
    "census unknown": ('census = "present-only"', 'census = "some"', "census"),
    "id twice": ('id = "wake"', 'id = "settle"', "settle"),
}  # fmt: skip


@pytest.mark.parametrize(("old", "new", "where"), SHEET_FAULTS.values(), ids=SHEET_FAULTS)
def test_faults_of_a_run_sheet_are_exit_1_and_name_the_step(
    call: Call, tmp_path: Path, old: str, new: str, where: str
) -> None:
    text = SHEET_FILE.read_text(encoding="utf-8")
    assert old in text
    file = tmp_path / "sheet.toml"
    file.write_text(text.replace(old, new, 1), encoding="utf-8")
    answer = call("runsheet", "check", file, "--json")
    assert (answer.code, answer.err) == (1, "")
    hold(answer.data, SHEET)
    assert where in [fault["where"] for fault in answer.data["faults"]]


def test_an_unsaid_recovery_is_a_fault_whatever_the_chance(call: Call, tmp_path: Path) -> None:
    text = SHEET_FILE.read_text(encoding="utf-8").replace("recovery = ", "rescue = ")
    file = tmp_path / "sheet.toml"
    file.write_text(text.replace("chance = 0.05", "chance = 0.0"), encoding="utf-8")
    faults = call("runsheet", "check", file, "--json").data["faults"]
    assert [fault["where"] for fault in faults] == ["stuck"]
    # Before any point of no return such an end says all there is to say.
    file.write_text(text.replace("no_return = true", ""), encoding="utf-8")
    assert call("runsheet", "check", file, "--json").data["faults"] == []


def test_the_files_of_these_tests_are_small_and_hold_what_they_say() -> None:
    files = [path for path in FILES.rglob("*") if path.is_file()]
    assert sum(path.stat().st_size for path in files) < 20_000
    assert json.loads((FILES / "observations.json").read_text())["vehicle"]["year"] == 2018
