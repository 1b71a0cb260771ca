"""Encryption of secrets, and keyed marks on records; the keys are files outside the database.

AES-256-GCM (NIST SP 800-38D) with a fresh random nonce of 96 bits for each value. What the value belongs to
is associated data: a value moved to another job or another name does not open.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
from dataclasses import dataclass

from bittern.bench import keys
from bittern.work.errors import SealBrokenError

VERSION = b"\x01"
NONCE_BYTES = 12


@dataclass(frozen=True, slots=True)
class Box:
    """A sealed value as it is stored."""

    nonce: bytes
    ciphertext: bytes


def close_box(secret: bytes, *place: str | int) -> Box:
    """Encrypt ``secret`` for ``place``: what it is, and whose."""
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    nonce = secrets.token_bytes(NONCE_BYTES)
    sealed = AESGCM(keys.get_key(keys.SEAL)).encrypt(nonce, secret, _bind(place))
    return Box(nonce, VERSION + sealed)


def open_box(box: Box, *place: str | int) -> bytes:
    """Return what was sealed for ``place``; raises SealBrokenError."""
    from cryptography.exceptions import InvalidTag
    from cryptography.hazmat.primitives.ciphers.aead import AESGCM

    nonce, version, sealed = box.nonce, box.ciphertext[:1], box.ciphertext[1:]
    where = " ".join(map(str, place))
    if version != VERSION or len(nonce) != NONCE_BYTES:
        raise SealBrokenError("another form of sealed value", "one that this version made", where=where)
    try:
        return AESGCM(keys.get_key(keys.SEAL)).decrypt(nonce, sealed, _bind(place))
    except InvalidTag as error:
        raise SealBrokenError(
            "a value that does not open",
            "one sealed here with the shop's key",
            where=where,
            hint="was the key file or the database put back from a copy?",
        ) from error


def mark(what: str, *values: str | int) -> str:
    """Return a keyed digest over ``values``, by which a change made without the log key is found."""
    text = json.dumps([what, *values], ensure_ascii=True, separators=(",", ":"))
    return hmac.new(keys.get_key(keys.LOG), text.encode(), hashlib.sha256).hexdigest()


def same_mark(found: str, expected: str) -> bool:
    """Compare two marks in constant time."""
    return hmac.compare_digest(found.encode(), expected.encode())


def _bind(place: tuple[str | int, ...]) -> bytes:
    return VERSION + json.dumps(list(place), ensure_ascii=True, separators=(",", ":")).encode()


def mark_key(name: str) -> str:
    """Return the mark by which a key is known again; the key cannot be told from it."""
    return hmac.new(keys.get_key(name), f"bittern {name} key".encode(), hashlib.sha256).hexdigest()
