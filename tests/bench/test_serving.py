"""setup, serve and log verify as programs: what they make, print and refuse, and how they end."""

from __future__ import annotations

import contextlib
import http.cookiejar
import json
import os
import re
import shutil
import signal
import socket
import stat
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
from collections.abc import Iterator
from email.message import Message
from pathlib import Path

import pytest

PASSWORD = "quiet heron at dusk"
BITTERN = [sys.executable, "-m", "bittern"]


def run(*words: str, data: Path, stdin: str = "", **environment: str) -> subprocess.CompletedProcess[str]:
    """Run a command on a data folder of its own."""
    return subprocess.run(
        [*BITTERN, *words],
        env={**os.environ, "BITTERN_DATA": str(data), "BITTERN_DATABASE": "", **environment},
        input=stdin,
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
    )


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a data folder with an owner, to be copied."""
    data = tmp_path_factory.mktemp("model") / "data"
    done = run("setup", "--login", "Odile", "--name", "Odile Marram", data=data, stdin=PASSWORD + "\n")
    assert (done.returncode, done.stderr) == (0, "")
    return data


@pytest.fixture
def data(model: Path, tmp_path: Path) -> Path:
    """Return a data folder with an owner."""
    return Path(shutil.copytree(model, tmp_path / "data"))


@contextlib.contextmanager
def serving(data: Path, *words: str, command: str = "serve") -> Iterator[tuple[subprocess.Popen[str], str]]:
    """Serve in another process; yield it and its address."""
    server = subprocess.Popen(
        [*BITTERN, command, "--port", "0", *words],
        env={**os.environ, "BITTERN_DATA": str(data), "BITTERN_DATABASE": ""},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert server.stdout is not None
        line = server.stdout.readline()
        found = re.search(r"http://localhost:\d+/", line)
        assert found, line + server.communicate(timeout=60)[1]
        yield server, found[0]
    finally:
        server.terminate()
        server.communicate(timeout=60)


def fetch(
    browser: urllib.request.OpenerDirector, address: str, sent: bytes | None = None
) -> tuple[str, Message]:
    """Return a page and its headers."""
    with browser.open(address, sent) as answer:
        return answer.read().decode(), answer.headers


def test_setup_makes_everything_for_its_owner_alone(data: Path) -> None:
    for path in (data, data / "keys", data / "bittern.sqlite3", *(data / "keys").iterdir()):
        assert stat.S_IMODE(path.stat().st_mode) & 0o077 == 0, path
    assert PASSWORD.encode() not in b"".join(path.read_bytes() for path in data.rglob("*") if path.is_file())
    again = run("setup", data=data)
    assert (again.returncode, again.stderr) == (0, "")
    assert "owner already" in again.stdout


@pytest.mark.parametrize(
    ("words", "stdin", "told"),
    [
        (["--login", "odile"], PASSWORD, "in use"),
        (["--login", "merle"], "short", "too short"),
        (["--login", "merle"], "", "password"),
        (["--login", "not a login"], PASSWORD, "small letters"),
        (["--login", "nobody", "--reset"], PASSWORD, "login name of an owner"),
        (["--login", "odile", "--reset"], "short", "too short"),
    ],
)
def test_setup_refuses_in_one_line(data: Path, words: list[str], stdin: str, told: str) -> None:
    done = run("setup", *words, data=data, stdin=stdin)
    assert done.returncode == 2
    assert told in done.stderr
    assert done.stderr.count("\n") == 1
    assert PASSWORD not in done.stderr


def test_the_bench_is_served_and_ends_well(data: Path) -> None:
    with serving(data) as (server, address):
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar()))
        page, _ = fetch(browser, address)
        # Static files under names that carry their content.
        sheet = re.search(r'href="(/static/bench/bench\.[0-9a-f]{12}\.css)"', page)
        assert sheet, page
        _, headers = fetch(browser, address.rstrip("/") + sheet[1])
        assert "immutable" in headers["Cache-Control"]
        assert "Access-Control-Allow-Origin" not in headers
        assert "default-src 'none'" in headers["Content-Security-Policy"]
        token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', page)
        assert token
        sent = {"username": "odile", "password": PASSWORD, "csrfmiddlewaretoken": token[1]}
        inside, _ = fetch(browser, address + "login/", urllib.parse.urlencode(sent).encode())
        assert "Odile Marram" in inside
        with pytest.raises(urllib.error.HTTPError) as strange:
            browser.open(urllib.request.Request(address, headers={"Host": "elsewhere.example"}))
        strange.value.close()
        assert strange.value.code == 400
        server.send_signal(signal.SIGINT)
        out, err = server.communicate(timeout=60)
        assert (server.returncode, out, err) == (0, "", "")


def test_a_port_in_use_is_one_line(data: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        for command in ("serve", "demo"):
            done = run(command, "--port", port, "--data", str(data), data=data)
            assert done.returncode == 2
            assert f"port {port} in use" in done.stderr
            assert done.stderr.count("\n") == 1


def test_serving_without_anybody_who_could_log_in_is_refused(tmp_path: Path) -> None:
    done = run("serve", "--port", "0", data=tmp_path / "data")
    assert done.returncode == 2
    assert "bittern setup" in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("name", ["secret", "seal", "log"])
def test_nothing_starts_while_others_can_read_a_key(data: Path, name: str) -> None:
    (data / "keys" / f"{name}.key").chmod(0o644)
    done = run("serve", "--port", "0", data=data)
    assert done.returncode == 2
    assert "mode 0644" in done.stderr
    assert "chmod 600" in done.stderr
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("name", ["seal", "log"])
def test_a_lost_key_is_not_made_anew_and_another_is_refused(data: Path, name: str) -> None:
    path = data / "keys" / f"{name}.key"
    kept = path.read_text()
    path.unlink()
    for words in (("serve", "--port", "0"), ("setup",), ("log", "verify")):
        done = run(*words, data=data)
        assert done.returncode == 2
        assert str(path) in done.stderr
        assert done.stderr.count("\n") == 1
        assert not path.exists()
    path.write_text("ab" * 32 + "\n")
    path.chmod(0o600)
    done = run("log", "verify", data=data)
    assert done.returncode == 2
    assert "another key" in done.stderr
    path.write_text(kept)
    assert run("log", "verify", data=data).returncode == 0


def test_a_log_is_verified_from_the_command_line(data: Path, tmp_path: Path) -> None:
    import sqlite3

    fields = tmp_path / "request.json"
    fields.write_text(json.dumps({"want": "spare", "customer": "Ansel Quaking"}))
    for _ in range(2):
        opened = run("job", "open", str(fields), "--person", "odile", "--json", data=data)
        assert opened.returncode == 0, opened.stderr
    done = run("log", "verify", "--json", data=data)
    assert (done.returncode, done.stderr) == (0, "")
    assert json.loads(done.stdout) == {"ok": True, "jobs": 2, "entries": 2, "faults": []}
    assert "2 entries of 2 jobs" in run("log", "verify", data=data).stdout
    with sqlite3.connect(data / "bittern.sqlite3") as connection:
        connection.execute("UPDATE jobs_logrecord SET person = 'merle' WHERE job_id = 2")
    connection.close()
    done = run("log", "verify", "--json", data=data)
    assert (done.returncode, done.stderr) == (1, "")
    found = json.loads(done.stdout)
    assert (found["ok"], [(fault["job"], fault["sequence"]) for fault in found["faults"]]) == (
        False,
        [(2, 1)],
    )
    assert set(found["faults"][0]) == {"job", "sequence", "problem"}
    shown = run("log", "verify", data=data)
    assert shown.returncode == 1
    assert "job 2, entry 1" in shown.stdout


def test_a_folder_without_a_database_is_said_so(tmp_path: Path) -> None:
    for words in (("log", "verify"), ("job", "show", "1")):
        done = run(*words, data=tmp_path / "data")
        assert done.returncode == 2
        assert "bittern setup" in done.stderr
        assert done.stderr.count("\n") == 1
    assert not (tmp_path / "data").exists()


def test_a_database_that_does_not_answer_is_one_line_without_its_password(tmp_path: Path) -> None:
    address = f"postgresql://anna:hidden-word@/shop?host={tmp_path}"
    done = run("serve", "--port", "0", data=tmp_path / "data", BITTERN_DATABASE=address)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "hidden-word" not in done.stderr


def test_the_demo_is_loaded_once_and_says_its_accounts(tmp_path: Path) -> None:
    data = tmp_path / "demo"
    reports = []
    for _ in range(2):
        with serving(tmp_path / "elsewhere", "--data", str(data), command="demo") as (server, address):
            assert server.stdout is not None
            lines = [server.stdout.readline() for _ in range(6)]
            assert "trying out only" in lines[0]
            login, password, role = lines[1].split()[:3]
            assert role == "owner"
            browser = urllib.request.build_opener(
                urllib.request.HTTPCookieProcessor(http.cookiejar.CookieJar())
            )
            token = re.search(r'name="csrfmiddlewaretoken" value="(\w+)"', fetch(browser, address)[0])
            assert token
            sent = {"username": login, "password": password, "csrfmiddlewaretoken": token[1]}
            page, _ = fetch(browser, address + "login/", urllib.parse.urlencode(sent).encode())
            assert 'href="/people/"' in page
            server.terminate()
            assert server.communicate(timeout=60)[1] == ""
            assert server.returncode == 0
        done = run("log", "verify", "--data", str(data), "--json", data=tmp_path / "elsewhere")
        reports.append(json.loads(done.stdout))
    assert reports[0] == reports[1]
    assert reports[0]["ok"]
    assert reports[0]["jobs"] > 40
    assert not (tmp_path / "elsewhere").exists()


def test_the_demo_is_never_put_into_a_shops_own_data(data: Path) -> None:
    done = run("demo", "--port", "0", "--data", str(data), data=data)
    assert done.returncode == 2
    assert "a shop's own data" in done.stderr
    assert done.stderr.count("\n") == 1
