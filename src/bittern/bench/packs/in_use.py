"""The pack in use: the shop's pack with the imported lists laid over it, in the order of their import."""

from __future__ import annotations

import threading
from datetime import datetime

from bittern.bench.packs.models import ACTIVE, SuppliersList
from bittern.formats.packs import Pack

Lists = tuple[tuple[int, datetime], ...]
_lock = threading.Lock()
# The packs last made, each with the pack below and the lists over it: one more list goes over what is there.
_made: list[tuple[Pack, Lists, Pack]] = []
_KEPT = 2


def lay_lists(base: Pack) -> Pack:
    """Return ``base`` with the lists over it that are imported and not undone."""
    lists = SuppliersList.objects.filter(state=ACTIVE).order_by("place")
    # With its time, so that the numbers of another database do not pass for these.
    active = tuple(lists.values_list("pk", "uploaded_at"))
    if not active:
        return base
    with _lock:
        for below, over, pack in _made:
            if below is base and over == active:
                return pack
        pack = _build(base, active)
        _made.insert(0, (base, active, pack))
        del _made[_KEPT:]
    return pack


def _build(base: Pack, active: Lists) -> Pack:
    # Brings numpy, which a bench without lists does without here.
    from bittern.bench.packs.store import load_layer
    from bittern.work.supplier.merge import merge

    pack, done = base, 0
    for below, over, made in _made:
        if below is base and len(over) > done and active[: len(over)] == over:
            pack, done = made, len(over)
    for pk, _ in active[done:]:
        pack = merge(pack, load_layer(pk))[0]
    return pack
