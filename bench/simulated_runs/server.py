"""A server of the real application that dies when it is told to, and stands up again at once.

``python server.py FOLDER`` makes a shop in FOLDER with a run begun for every demo run sheet, says where it
listens, and serves. A request with the header ``X-Fault`` kills the serving process by SIGKILL: before it
does anything, inside the transaction, after the commit, or with half of the answer sent. The header is known
here alone, not in the application.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path
from socketserver import ThreadingMixIn
from typing import Any
from wsgiref.simple_server import WSGIRequestHandler, WSGIServer

LOGIN = "tobin"
_here = threading.local()


def die() -> None:
    """End this process as a power cut would."""
    os.kill(os.getpid(), signal.SIGKILL)


class DyingApplication:
    """The application behind the fault header."""

    def __init__(self, application: Callable[..., Iterable[bytes]]) -> None:
        self.application = application

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        fault = environ.get("HTTP_X_FAULT", "")
        if fault == "before":
            die()
        _here.inside = fault == "inside"
        answer = b"".join(self.application(environ, start))
        _here.inside = False
        if fault == "after":
            die()
        return self.halve(answer) if fault == "half" else [answer]

    def halve(self, answer: bytes) -> Iterator[bytes]:
        yield answer[: len(answer) // 2]
        die()


class QuietHandler(WSGIRequestHandler):
    """Says nothing of requests."""

    def log_message(self, format: str, *arguments: Any) -> None:
        """Say nothing."""


class Server(ThreadingMixIn, WSGIServer):
    """A thread a request."""

    daemon_threads = True
    request_queue_size = 128


def prepare(folder: Path, *, static: bool, address: str = "") -> dict[str, Any]:
    """Make the shop with its runs and return how to reach them."""
    os.environ["BITTERN_DATA"] = str(folder)
    if address:
        os.environ["BITTERN_DATABASE"] = address
    else:
        os.environ.pop("BITTERN_DATABASE", None)
    from bittern.bench import entry

    entry.configure(folder)
    from django.db import connections

    from bittern.bench.preparation import prepare_data

    prepare_data(static=static)
    told = {"runs": _begin_runs(), "cookie": f"bittern-session={_log_in()}"}
    connections.close_all()
    return told


def _log_in() -> str:
    from django.contrib.auth import BACKEND_SESSION_KEY, HASH_SESSION_KEY, SESSION_KEY
    from django.contrib.sessions.backends.db import SessionStore

    from bittern.bench.people.models import User

    user = User.objects.create_user(LOGIN, name="Tobin Sedge", role="technician", password="no-use-of-it")
    session = SessionStore()
    session[SESSION_KEY] = str(user.pk)
    session[BACKEND_SESSION_KEY] = "django.contrib.auth.backends.ModelBackend"
    session[HASH_SESSION_KEY] = user.get_session_auth_hash()
    session.create()
    return str(session.session_key)


def _begin_runs() -> dict[str, int]:
    """Open a job with a run begun for every demo run sheet."""
    from bittern.demo import PACK_DIR
    from bittern.formats.packs import read_pack

    return {sheet.id: begin_run(sheet) for sheet in read_pack(PACK_DIR).runsheets.values()}


def begin_run(sheet: Any) -> int:
    """Open a job whose run of ``sheet`` has begun, and return its number."""
    import uuid

    from bittern.bench.jobs.store import DjangoStore
    from bittern.engines.pairing.census import KeyInHand
    from bittern.engines.pairing.event import RunEvent
    from bittern.formats.runsheets import write_runsheet
    from bittern.work.facts import Pairing, Request

    store, now = DjangoStore(), datetime.now(UTC)
    keys = (KeyInHand("The daily key", True, True), KeyInHand("The new key", True, False, True))
    made: dict[str, Any] = {"person": LOGIN, "at": now}
    with store.transaction():
        job = store.new_job(Request(want="spare", customer="Linnet Osier"), LOGIN, now)
        pairing = Pairing(
            sheet=sheet.id, sheet_text=write_runsheet(sheet), title=sheet.title, begun_by=LOGIN, begun_at=now
        )
        store.save(job.model_copy(update={"pairing": pairing}), waits_for="pairing")
        for event in (
            RunEvent(str(uuid.uuid4()), "begun", needs=sheet.needs, **made),
            RunEvent(str(uuid.uuid4()), "census", keys=keys, **made),
        ):
            payload = {"run": 1, "event": event.as_dict()}
            store.append(job.number, at=now, person=LOGIN, kind="pairing.event", payload=payload)
    return job.number


def serve(server: Server) -> None:
    """Serve until this process is killed."""
    from bittern.bench.jobs.store import DjangoStore

    save = DjangoStore.save

    def save_or_die(self: DjangoStore, *arguments: Any, **named: Any) -> Any:
        # The event is written by now, and the transaction open.
        if getattr(_here, "inside", False):
            die()
        return save(self, *arguments, **named)

    DjangoStore.save = save_or_die  # type: ignore[method-assign]
    server.serve_forever(poll_interval=0.05)


def main(folder: Path, *, static: bool) -> None:
    """Prepare, say where, and let one process after the other serve."""
    told = prepare(folder, static=static, address=os.environ.get("BITTERN_FAULTS_DATABASE", ""))
    from bittern.bench.wsgi import application

    server = Server(("127.0.0.1", 0), QuietHandler)
    server.set_app(DyingApplication(application))
    told["address"] = f"http://localhost:{server.server_address[1]}"
    print(json.dumps(told), flush=True)
    lives = 0
    child = 0

    def end(*_: object) -> None:
        if child:
            os.kill(child, signal.SIGKILL)
        os._exit(0)

    signal.signal(signal.SIGTERM, end)
    while True:
        child = os.fork()
        if not child:
            signal.signal(signal.SIGTERM, signal.SIG_DFL)
            serve(server)
        os.waitpid(child, 0)
        lives += 1
        print(json.dumps({"died": lives}), file=sys.stderr, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), static="--static" in sys.argv)
