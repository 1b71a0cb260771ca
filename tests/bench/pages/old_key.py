"""What a browser sends when an old key is read."""

from __future__ import annotations

from typing import Any

from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse

from tests.bench.pages.journey import find_inputs
from tests.key_pictures import KnowingReader


def send(client: Client, number: int, picture: bytes | None, **fields: str) -> Any:
    files = {} if picture is None else {"picture": SimpleUploadedFile("key.png", picture)}
    return client.post(reverse("blade-picture", args=[number]), {"how": "scan", **fields, **files})


def do(client: Client, number: int, what: str, part: str = "", **fields: str) -> Any:
    headers = {"HX-Request": "true", "HX-Target": "reading"} if part else {}
    return client.post(reverse("blade-reading", args=[number]), {"do": what, **fields}, headers=headers)


def begin(client: Client, number: int, reader: KnowingReader, **fields: str) -> dict[str, str]:
    """Send the reader's scan, look at what was read, and return the hidden fields of the page."""
    send(client, number, reader.scan.png, **fields)
    return find_hidden(do(client, number, "look-reading"))


def find_hidden(answer: Any) -> dict[str, str]:
    return {one["name"]: one["value"] for one in find_inputs(answer, type="hidden") if one["name"] != "do"}
