"""The bench's own server with many runs begun; every answer carries how long the application took for it.

``python timed_server.py FOLDER RUNS`` says where it listens, and serves until it is ended; its settings are
those of the bench.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

from simulated_runs.server import begin_run, prepare

SHEET = "marsh-turn-pair"


class TimedApplication:
    """The application with the header ``X-Took-Ms``."""

    def __init__(self, application: Callable[..., Iterable[bytes]]) -> None:
        self.application = application

    def __call__(self, environ: dict[str, Any], start: Callable[..., Any]) -> Iterable[bytes]:
        began = time.perf_counter()
        held: list[Any] = []
        answer = b"".join(self.application(environ, lambda *said: held.append(said)))
        status, headers, *more = held[0]
        start(status, [*headers, ("X-Took-Ms", f"{1000 * (time.perf_counter() - began):.3f}")], *more)
        return [answer]


def main(folder: Path, runs: int) -> None:
    """Prepare, say where, serve."""
    told = prepare(folder, static=True, address=os.environ.get("BITTERN_DATABASE", ""))
    from bittern.bench import serving, wsgi
    from bittern.bench.desk import load_pack_in_use

    sheet = load_pack_in_use().runsheets[SHEET]
    told["numbers"] = [begin_run(sheet) for _ in range(runs)]
    wsgi.application = TimedApplication(wsgi.application)  # type: ignore[assignment]
    listener = serving.open_socket(0)
    told["address"] = serving.name_address(listener)
    print(json.dumps(told), flush=True)
    serving.run_server(listener)


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
    main(Path(sys.argv[1]), int(sys.argv[2]))
