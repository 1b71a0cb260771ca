"""An adapter on a serial line that is not there: a pseudo-terminal with a control unit behind it."""

from __future__ import annotations

import contextlib
import os
import select
import threading
import time
import tty

from bittern.engines.link.frame import Frame
from tests.link.vehicle import Unit


class SerialAdapter:
    """An adapter at the far end of a pseudo-terminal that speaks the line protocol."""

    def __init__(self, unit: Unit, noise: bytes = b"", after: bytes = b"") -> None:
        self.near, far = os.openpty()
        tty.setraw(self.near)
        tty.setraw(far)
        self.port, self._far = os.ttyname(far), far
        self.unit, self.noise, self.after = unit, noise, after
        self.lines: list[str] = []
        self.frames: list[Frame] = []
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._work, daemon=True)
        self._thread.start()

    def _work(self) -> None:
        held = b""
        while not self._stop.is_set():
            if not select.select([self.near], [], [], 0.05)[0]:
                continue
            held += os.read(self.near, 4096)
            *lines, held = held.split(b"\r")
            for line in lines:
                self._take(line.decode("ascii"))

    def _take(self, line: str) -> None:
        self.lines.append(line)
        if line[:1] not in ("t", "T"):
            return
        digits = 3 if line[0] == "t" else 8
        frame = Frame(int(line[1 : 1 + digits], 16), bytes.fromhex(line[2 + digits :]), digits == 8)
        self.frames.append(frame)
        os.write(self.near, self.noise)
        for answer in self.unit.hear(frame, time.monotonic()):
            kind, width = ("T", 8) if answer.extended else ("t", 3)
            text = f"{kind}{answer.frame_id:0{width}X}{len(answer.data)}{answer.data.hex()}\r"
            os.write(self.near, text.encode())
        os.write(self.near, self.after)

    def close(self) -> None:
        self._stop.set()
        self._thread.join()
        for end in (self.near, self._far):
            with contextlib.suppress(OSError):
                os.close(end)
