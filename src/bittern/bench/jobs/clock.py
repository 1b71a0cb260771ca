"""The clock on the wall."""

from __future__ import annotations

from datetime import UTC, datetime


class SystemClock:
    """The computer's clock; implements :class:`bittern.work.ports.Clock`."""

    def now(self) -> datetime:
        """Return the present moment, aware, in UTC."""
        return datetime.now(UTC)
