"""A few results that were worked out lately."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from threading import Lock
from typing import TypeVar, cast

_T = TypeVar("_T")


class Recent:
    """The results asked for last, at most ``most``; several threads may ask at once."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, object] = OrderedDict()
        self._lock = Lock()

    def get(self, key: Hashable, make: Callable[[], _T]) -> _T:
        """Return what was made for ``key``, or make it now."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                return cast("_T", self._kept[key])
        # Made outside the lock: two threads may do the same work, but none waits for another's.
        made = make()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > self._most:
                self._kept.popitem(last=False)
        return made
