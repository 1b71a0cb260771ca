"""Taking a list's file: from owners alone, one at a time, up to a limit."""

from __future__ import annotations

from typing import Any

from django.core.files.uploadhandler import StopUpload, TemporaryFileUploadHandler

from bittern.formats.spreadsheets import WEB_LIMIT_BYTES

FIELD = "file"


class ListUpload(TemporaryFileUploadHandler):
    """Take one file up to the limit into a temporary file; what is beyond ends the upload."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.received = 0
        self.files = 0
        self.too_large = False

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        """Begin a file; a second one, or one of another field, ends the upload."""
        super().new_file(*args, **kwargs)
        self.files += 1
        if self.files > 1 or self.field_name != FIELD:
            raise StopUpload(connection_reset=False)

    def receive_data_chunk(self, raw_data: bytes, start: int) -> bytes | None:
        """Write a piece unless it is too much."""
        self.received += len(raw_data)
        if self.received > WEB_LIMIT_BYTES:
            self.too_large = True
            raise StopUpload(connection_reset=False)
        return super().receive_data_chunk(raw_data, start)


def clean_name(name: str) -> str:
    """Return a file's name as it is shown: no folders, nothing unprintable.

    >>> clean_name("C:\\\\lists\\\\spring.xlsx")
    'spring.xlsx'
    """
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable()).strip()[:120] or "list"
