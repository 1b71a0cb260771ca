"""Taking a picture: from those who are logged in, one at a time, in memory, up to a limit."""

from __future__ import annotations

from io import BytesIO
from typing import Any, ClassVar

from django.core.files.uploadedfile import InMemoryUploadedFile
from django.core.files.uploadhandler import StopUpload

from bittern.bench.uploads import OneFile

FIELD = "picture"
LIMIT_BYTES = 20_000_000
"""A photo of 12 megapixels has some five million."""


class PictureUpload(OneFile):
    """Keep one picture in memory and on no disk; what is beyond the limit ends the upload."""

    field = FIELD
    # What a class that takes larger pictures says otherwise.
    limit_bytes: ClassVar[int | None] = None

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pieces = BytesIO()

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        """Keep a piece; nothing is kept of what is too much."""
        try:
            self.count(raw_data, self.limit_bytes or LIMIT_BYTES)
        except StopUpload:
            self.pieces = BytesIO()
            raise
        self.pieces.write(raw_data)

    def file_complete(self, file_size: int) -> InMemoryUploadedFile:
        """Return the picture; the name that the telephone gave it is of no interest."""
        self.pieces.seek(0)
        return InMemoryUploadedFile(self.pieces, FIELD, "picture", "", file_size, None)
