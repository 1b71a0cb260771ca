"""Server time of an event of the runner with 50 runners at once, beside that of an empty request.

The bench's own server (its usual processes and threads) with 50 runs begun; 50 devices send their
events, each a body of its own. Once as at work, every device an event in two seconds; once as fast as
they are answered, where they wait for each other. The time is the application's own, from the request to
the answer, with the event on record. The target is 50 ms in the median at work.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from statistics import median, quantiles
from typing import Any
from urllib.parse import urlsplit

ROOT = Path(__file__).resolve().parents[1]
RUNNERS, EVENTS = 50, 12
PERIOD_S = 2.0
TARGET_MS = 50.0
LOGIN = "tobin"


class Runner:
    """A device that sends counts of keys: they fit at any step, and the log grows as in a long run."""

    def __init__(self, told: dict[str, Any], number: int) -> None:
        where = urlsplit(told["address"])
        self.connection = http.client.HTTPConnection(str(where.hostname), where.port, timeout=60)
        self.cookie, self.token = told["cookie"], ""
        self.path = f"/jobs/{number}/pairing/"
        self.device = str(uuid.uuid4())
        self.count = 0
        pack = self.ask("GET", "run/")[1]
        self.token = pack["token"]
        self.have, self.last = len(pack["events"]), pack["events"][-1]["event_id"]

    def ask(self, method: str, where: str, body: Any = None) -> tuple[float, Any]:
        """Return the server's own milliseconds and what it said."""
        headers = {"Cookie": self.cookie, "X-CSRFToken": self.token, "Content-Type": "application/json"}
        text = None if body is None else json.dumps(body)
        # The server lets go of a connection that is idle for some seconds, as a phone's between two steps.
        self.connection.close()
        self.connection.request(method, self.path + where, text, headers)
        answer = self.connection.getresponse()
        said = answer.read()
        if answer.status != 200:
            raise RuntimeError(f"{where}: {answer.status} {said[:200]!r}")
        for cookie in answer.headers.get_all("Set-Cookie") or ():
            if cookie.startswith("bittern-csrf="):
                self.cookie = f"{self.cookie.split('; ')[0]}; {cookie.split(';')[0]}"
        return float(answer.headers["X-Took-Ms"]), json.loads(said) if where != "worker.js" else None

    def send(self) -> float:
        """Send one event and return the server's milliseconds."""
        self.count += 1
        keys = [
            {"name": "The daily key", "present": True, "works_before": True, "new": False},
            {"name": "The new key", "present": True, "works_before": False, "new": True},
        ]
        event = {
            "event_id": str(uuid.uuid4()),
            "kind": "census",
            "person": LOGIN,
            "at": datetime.now(UTC).isoformat(),
            "keys": keys,
            "device": self.device,
            "sequence": self.count,
        }
        body = {"attempt": 1, "device": self.device, "word": "phone", "have": self.have, "last": self.last}
        took_ms, said = self.ask("POST", "events/", {**body, "events": [event]})
        if not said["results"][0]["taken"]:
            raise RuntimeError(said["results"][0]["sentence"])
        self.have, self.last = self.have + 1, event["event_id"]
        return took_ms

    def beat(self) -> float:
        """Send nothing but that the device is there."""
        body = {"attempt": 1, "device": self.device, "word": "phone", "have": self.have, "last": self.last}
        return self.ask("POST", "events/", {**body, "events": []})[0]

    def ask_little(self) -> float:
        """Ask for what needs no more than to know who asks."""
        return self.ask("GET", "worker.js")[0]


def main() -> None:
    """Print the table."""
    print(f"{'database':<12}{'load':<10}{'request':<12}{'median':>9}{'9 in 10':>9}{'times empty':>13}")
    measure("SQLite", "")
    sys.path.insert(0, str(ROOT))
    try:
        from tests.postgres import NoPostgresError, run_server
    except ImportError:
        return
    try:
        with run_server() as address:
            measure("PostgreSQL", address)
    except NoPostgresError as error:
        print(f"PostgreSQL   not measured: {error}")
    print(f"milliseconds of the server; target {TARGET_MS:g} at work")


def measure(name: str, address: str) -> None:
    """Print the rows of one database."""
    with tempfile.TemporaryDirectory(prefix="bittern-bench-") as folder:
        server, told = start(Path(folder), address)
        try:
            runners = [Runner(told, number) for number in told["numbers"]]
            for load, pause_s in (("at work", PERIOD_S), ("at once", 0.0)):
                empty = run_all(runners, Runner.ask_little, pause_s)
                print_row(name, load, "empty", empty, empty)
                print_row(name, load, "heartbeat", run_all(runners, Runner.beat, pause_s), empty)
                print_row(name, load, "event", run_all(runners, Runner.send, pause_s), empty)
        finally:
            os.killpg(server.pid, signal.SIGTERM)
            server.wait(30)


def start(folder: Path, address: str) -> tuple[subprocess.Popen[str], dict[str, Any]]:
    """Start the server and return its process and what it told."""
    environment = {key: value for key, value in os.environ.items() if not key.startswith("BITTERN_")}
    environment["PYTHONPATH"] = str(ROOT / "bench")
    if address:
        environment["BITTERN_DATABASE"] = address
    words = [sys.executable, str(ROOT / "bench" / "simulated_runs" / "timed_server.py"), str(folder / "data")]
    (folder / "data").mkdir()
    server = subprocess.Popen(
        [*words, str(RUNNERS)], stdout=subprocess.PIPE, text=True, env=environment, start_new_session=True
    )
    assert server.stdout
    told: dict[str, Any] = json.loads(server.stdout.readline())
    await_server(told)
    return server, told


def await_server(told: dict[str, Any]) -> None:
    """Wait until somebody answers."""
    where = urlsplit(told["address"])
    for _ in range(200):
        try:
            socket.create_connection((str(where.hostname), where.port or 80), timeout=5).close()
            return
        except OSError:
            time.sleep(0.1)
    raise RuntimeError("the server does not answer")


def run_all(runners: list[Runner], do: Callable[[Runner], float], pause_s: float) -> list[float]:
    """Let every runner do it again and again at the same time; return the milliseconds of all."""
    took: list[float] = []
    failed: list[Exception] = []

    def carry(runner: Runner, draw: random.Random) -> None:
        try:
            time.sleep(draw.uniform(0.0, pause_s))
            for _ in range(EVENTS):
                took.append(do(runner))
                time.sleep(draw.uniform(0.5, 1.5) * pause_s)
        except (RuntimeError, OSError, http.client.HTTPException) as error:
            failed.append(error)

    threads = [
        threading.Thread(target=carry, args=(runner, random.Random(place)))
        for place, runner in enumerate(runners)
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failed:
        raise failed[0]
    return took


def print_row(name: str, load: str, what: str, took: list[float], empty: list[float]) -> None:
    """Print one row."""
    ratio = median(took) / median(empty)
    nine = quantiles(took, n=10)[-1]
    print(f"{name:<12}{load:<10}{what:<12}{median(took):>9.1f}{nine:>9.1f}{ratio:>13.1f}")


if __name__ == "__main__":
    main()
