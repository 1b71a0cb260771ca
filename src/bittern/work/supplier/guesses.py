"""What a list leaves out and the rest of the row lets guess; every guess is shown as one."""

from __future__ import annotations

import re
from collections.abc import Mapping

from bittern.work.supplier.words import cell_words, fold

KIND_TITLES = {
    "mechanical": "Key, all metal",
    "chip": "Key with chip",
    "remote-head": "Key with remote",
    "remote": "Remote without blade",
    "proximity": "Proximity key",
}


TELLING = ("title", "frequency_hz", "buttons", "blade", "chip", "fcc_id")
"""What a kind is guessed from."""


def guess_kind(said: Mapping[str, str], *, push: bool = False) -> str:
    """Return the likeliest kind of an article.

    Words of the title go first, the longest one found; then a vehicle that starts by a button takes a
    proximity key; then radio with a blade is a key with remote, radio alone a remote, a chip alone a key with
    chip, and what is left is metal.

    >>> guess_kind({"title": "Flip key 3 buttons", "frequency_hz": "433920000"})
    'remote-head'
    >>> guess_kind({"title": "", "frequency_hz": "433920000", "blade": ""})
    'remote'
    """
    title = f" {fold(said.get('title', ''))} "
    named = [(len(word), kind) for word, kind in cell_words("kind").items() if f" {word} " in title]
    if named:
        return max(named)[1]
    radio = said.get("frequency_hz") or said.get("buttons") or said.get("fcc_id")
    if radio and push:
        return "proximity"
    if radio:
        return "remote-head" if said.get("blade") or said.get("chip") else "remote"
    return "chip" if said.get("chip") else "mechanical"


def make_article_id(fcc_id: str, buttons: str, blade: str) -> str:
    """Return an article number for an article that is known by its identifier alone.

    >>> make_article_id("9ZZQM-K8T", "lock|unlock", "heron-8")
    '9ZZQM-K8T-lock-unlock-heron-8'
    """
    parts = [part for part in (fcc_id, buttons.replace("|", "-"), blade) if part]
    return re.sub(r"[^A-Za-z0-9._-]+", "-", "-".join(parts))[:64].rstrip("-._")
