"""Taking a list's file: from owners alone, one at a time, up to a limit."""

from __future__ import annotations

from django.core.files.uploadhandler import TemporaryFileUploadHandler

from bittern.bench.uploads import OneFile
from bittern.formats.spreadsheets import WEB_LIMIT_BYTES

FIELD = "file"


class ListUpload(OneFile, TemporaryFileUploadHandler):
    """Take one file up to the limit into a temporary file; what is beyond ends the upload."""

    field = FIELD

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes | None:
        """Write a piece unless it is too much."""
        self.count(raw_data, WEB_LIMIT_BYTES)
        return super().receive_data_chunk(raw_data, start)


def clean_name(name: str) -> str:
    """Return a file's name as it is shown: no folders, nothing unprintable.

    >>> clean_name("C:\\\\lists\\\\spring.xlsx")
    'spring.xlsx'
    """
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable()).strip()[:120] or "list"
