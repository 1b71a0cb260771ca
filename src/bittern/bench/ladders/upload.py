"""Taking a code table's file: from those at the bench, one at a time, in memory and on no disk."""

from __future__ import annotations

from io import BytesIO
from typing import Any

from django.core.files.uploadedfile import InMemoryUploadedFile
from django.core.files.uploadhandler import StopUpload

from bittern.bench.uploads import OneFile
from bittern.formats.texts import TEXT_LIMIT_BYTES

FIELD = "file"


class TableUpload(OneFile):
    """Keep one file in memory: a table unsealed on a disk would be one too many."""

    field = FIELD

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pieces = BytesIO()

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        """Keep a piece; nothing is kept of what is too much."""
        try:
            self.count(raw_data, TEXT_LIMIT_BYTES)
        except StopUpload:
            self.pieces = BytesIO()
            raise
        self.pieces.write(raw_data)

    def file_complete(self, file_size: int) -> InMemoryUploadedFile:
        """Return the file under a plain name."""
        self.pieces.seek(0)
        return InMemoryUploadedFile(self.pieces, FIELD, "table.csv", "", file_size, None)
