"""Serving the bench: gunicorn with a few processes of four threads each, on a socket that is ours first."""

from __future__ import annotations

import errno
import os
import socket
import sys
from typing import Any

from django.db import connections

from bittern.bench import options
from bittern.bench.desk import find_pack_folder, load_pack
from bittern.bench.errors import PortError

THREADS = 4


def open_socket(port: int) -> socket.socket:
    """Return a socket bound to the port; raises PortError. Port 0: any free one."""
    host = options.read_text("BITTERN_BIND")
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    # Without it a restart has to wait until the old connections are forgotten.
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((host, port))
    except (OSError, OverflowError) as error:
        listener.close()
        taken = isinstance(error, OSError) and error.errno == errno.EADDRINUSE
        found = f"port {port} in use" if taken else f"{host} port {port}: {error}"
        raise PortError(
            found, "a free port", hint="choose another with --port; is Bittern running already?"
        ) from error
    return listener


def name_address(listener: socket.socket) -> str:
    """Return the address to type into a browser."""
    host, port = listener.getsockname()[:2]
    if host in ("127.0.0.1", "0.0.0.0", "::", "::1"):  # noqa: S104 - compared, not bound
        host = "localhost"
    return f"http://{f'[{host}]' if ':' in host else host}:{port}/"


def run_server(listener: socket.socket) -> None:
    """Serve until SIGINT or SIGTERM, then exit with 0."""
    # Shared by all processes when it is loaded before they part; a faulty pack stops the start, not the work.
    load_pack(find_pack_folder())
    from gunicorn.app.base import BaseApplication  # type: ignore[import-untyped]

    class Server(BaseApplication):  # type: ignore[misc]
        def load_config(self) -> None:
            for name, value in _configure(handle).items():
                self.cfg.set(name, value)

        def load(self) -> Any:
            from bittern.bench.wsgi import application

            # A connection must not be shared by two processes.
            connections.close_all()
            return application

    listener.set_inheritable(True)
    # From here on the socket is the server's, which closes it itself.
    handle = listener.detach()
    # gunicorn takes arguments of its own from there; this server has its own settings.
    os.environ.pop("GUNICORN_CMD_ARGS", None)
    sys.argv[1:] = []
    Server().run()


def _configure(handle: int) -> dict[str, Any]:
    return {
        "bind": f"fd://{handle}",
        "worker_class": "gthread",
        "workers": options.read_whole("BITTERN_WORKERS", 1, 32),
        "threads": THREADS,
        "preload_app": True,
        "timeout": 60,
        "graceful_timeout": 10,
        "keepalive": 5,
        "accesslog": None,
        "errorlog": "-",
        "loglevel": "warning",
        "umask": 0o077,
        "proc_name": "bittern",
        "control_socket_disable": True,
        # Workers report through a file: in memory where there is a place for that.
        "worker_tmp_dir": "/dev/shm" if os.path.isdir("/dev/shm") else None,  # noqa: S108, PTH112
    }
