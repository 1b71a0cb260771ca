"""Errors of the store."""

from __future__ import annotations

from bittern.bench.errors import BenchError


class AppendOnlyError(BenchError):
    """Something tried to change or remove an entry of a log."""

    code = "bench.append-only"
    meaning = "Entries of a job's log are neither changed nor removed."


class TransactionError(BenchError):
    """A change outside a transaction: a fault of the program, not of the person."""

    code = "bench.transaction"
    meaning = "A change was attempted outside a transaction; nothing was stored."
