"""Jobs and logs from the command line: a shop of its own, one process a call."""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
from pathlib import Path

import pytest

from tests.cli.contract.calls import Answer, hold, nullable, outside

SHOWN = {
    "number": int,
    "state": str,
    "legs": [{"leg": str, "state": str, "line": str}],
    "next": nullable({"leg": str, "say": str}),
}
LOG = {"ok": bool, "jobs": int, "entries": int, "faults": [dict]}


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the data folder of a shop with one owner and one open job."""
    folder = tmp_path_factory.mktemp("shop") / "data"
    password = b"reed and sedge and rush and withy\n"
    answer = outside("setup", "--data", folder, "--login", "odile", input=password)
    assert answer.code == 0, answer.err
    answer = ask(folder, "open", "-", "--person", "odile", fields={"want": "spare", "customer": "Ada Rill"})
    assert (answer.code, answer.data) == (0, {"number": 1})
    return folder


def ask(folder: Path, *words: object, fields: object = None) -> Answer:
    sent = None if fields is None else json.dumps(fields).encode()
    options = {} if sent is None else {"input": sent}
    return outside("job", *words, "--data", folder, "--json", **options)


def test_a_job_is_shown_acted_on_and_logged(shop: Path) -> None:
    shown = ask(shop, "show", 1)
    assert (shown.code, shown.err) == (0, "")
    hold(shown.data, SHOWN)
    assert (shown.data["number"], len(shown.data["legs"])) == (1, 8)
    wanted = {"want": "all-lost", "customer": "Ada Rill"}
    done = ask(shop, "do", 1, "change-request", "-", "--person", "odile", fields=wanted)
    assert done.code == 0, done.err
    hold(done.data, SHOWN)
    log = outside("log", "verify", "--data", shop, "--json")
    assert (log.code, log.err) == (0, "")
    hold(log.data, LOG)
    assert log.data["jobs"] == 1
    assert log.data["entries"] >= 2


def test_acts_are_listed_in_words() -> None:
    answer = outside("job", "acts", "--json")
    hold(answer.data, {"acts": [{"act": str, "leg": str, "meaning": str}]})
    assert "record-authority" in [one["act"] for one in answer.data["acts"]]
    assert ":func:" not in answer.out


@pytest.mark.parametrize(
    "text",
    [b"", b"no json", b"[]", b'"x"', b'{"customer": NaN}', b'{"customer": 1e999}', b"[" * 100_000,
     '{"want": "spare"}'.encode("utf-16"), b'{"want": "\xe9"}', b" " * 5_000_001,
     b'{"want": "spare", "customer": "\\ud800"}', b'{"want": "spare", "customer": "a\\u0000b"}',
     b'{"want": ["spare"], "customer": {}}', b'{"want": "spare", "customer": "' + b"x" * 100_000 + b'"}'],
    ids=range(14),
)  # fmt: skip
def test_fields_that_are_none_are_refused_and_nothing_is_opened(
    shop: Path, tmp_path: Path, text: bytes
) -> None:
    file = tmp_path / "fields.json"
    file.write_bytes(text)
    ask(shop, "open", file, "--person", "odile").refuse()


def test_what_is_no_file_is_not_waited_for(shop: Path, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for file in (tmp_path / "pipe", "/dev/zero", tmp_path, tmp_path / "missing"):
        ask(shop, "open", file, "--person", "odile").refuse()


@pytest.mark.parametrize(
    "words",
    [
        ("show", 99),
        ("show", 0),
        ("show", "9" * 30),
        ("show", "one"),
        ("do", 1, "fly", "--person", "odile"),
        ("do", 99, "withdraw", "--person", "odile"),
        ("do", 1, "record-vehicle", "--person", "nobody"),
        ("do", 1, "record-vehicle", "--person", b"\xff"),
        ("do", 1, "enter-bitting", "--person", "odile"),
        ("sheet", 1, "--out", "sheet.pdf"),
    ],
    ids=range(10),
)
def test_what_cannot_be_done_is_one_line(shop: Path, words: tuple[object, ...]) -> None:
    ask(shop, *words).refuse()


def test_a_folder_without_a_shop_is_left_alone(tmp_path: Path) -> None:
    ask(tmp_path / "none", "show", 1).refuse()
    outside("log", "verify", "--data", tmp_path / "none", "--json").refuse()
    assert not (tmp_path / "none").exists()


def test_a_log_that_was_changed_is_a_no(shop: Path, tmp_path: Path) -> None:
    folder = tmp_path / "copy"
    shutil.copytree(shop, folder)
    (database,) = folder.glob("*.sqlite3")
    with sqlite3.connect(database) as connection:
        (table,) = connection.execute(
            "select name from sqlite_master where name like '%logrecord'"
        ).fetchone()
        connection.execute(f"update {table} set person = 'somebody' where sequence = 1")
    connection.close()
    answer = outside("log", "verify", "--data", folder, "--json")
    assert (answer.code, answer.data["ok"]) == (1, False)
    assert answer.data["faults"]
