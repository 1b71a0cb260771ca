"""A few results that were worked out lately."""

from __future__ import annotations

from collections.abc import Callable, Hashable
from typing import TypeVar, cast

_T = TypeVar("_T")


class Recent:
    """The results that were made last, at most about ``most``.

    Several threads may ask at once: each step is one operation on a dictionary, and at worst two of them do
    the same work.
    """

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: dict[Hashable, object] = {}

    def get(self, key: Hashable, make: Callable[[], _T]) -> _T:
        """Return what was made for ``key``, or make it now."""
        kept = self._kept.get(key)
        if kept is not None:
            return cast("_T", kept)
        made = make()
        self._kept[key] = made
        for oldest in list(self._kept)[: -self._most]:
            self._kept.pop(oldest, None)
        return made
