"""Kinds of documents that show authority; the kinds are kept, never a copy."""

from __future__ import annotations

IDENTITY = "photo-identity"
DOCUMENTS = {
    IDENTITY: "Photo identity of the person",
    "registration": "Registration paper of the vehicle",
    "lease-contract": "Hire or lease contract",
    "power-of-attorney": "Written authority of the keeper",
    "loss-report": "Police report of the loss",
}


def join_documents(kinds: tuple[str, ...]) -> str:
    """Return the kinds as a phrase.

    >>> join_documents(("photo-identity", "registration"))
    'photo identity of the person, registration paper of the vehicle'
    """
    words = [DOCUMENTS.get(kind, kind) for kind in kinds]
    return ", ".join(word[:1].lower() + word[1:] for word in words)
