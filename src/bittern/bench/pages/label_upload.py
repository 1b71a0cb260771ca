"""Taking a picture: from those who are logged in, one at a time, in memory, up to a limit."""

from __future__ import annotations

from io import BytesIO
from typing import Any

from django.core.files.uploadedfile import InMemoryUploadedFile
from django.core.files.uploadhandler import FileUploadHandler, StopUpload

FIELD = "picture"
LIMIT_BYTES = 20_000_000
"""A photo of 12 megapixels has some five million."""


class PictureUpload(FileUploadHandler):
    """Keep one picture in memory and on no disk; what is beyond the limit ends the upload."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pieces = BytesIO()
        self.files = 0
        self.too_large = False

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        """Begin a file; a second one, or one of another field, ends the upload."""
        super().new_file(*args, **kwargs)
        self.files += 1
        if self.files > 1 or self.field_name != FIELD:
            raise StopUpload(connection_reset=False)

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        """Keep a piece unless it is too much."""
        if self.pieces.tell() + len(raw_data) > LIMIT_BYTES:
            self.too_large = True
            self.pieces = BytesIO()
            raise StopUpload(connection_reset=False)
        self.pieces.write(raw_data)

    def file_complete(self, file_size: int) -> InMemoryUploadedFile:
        """Return the picture; the name that the telephone gave it is of no interest."""
        self.pieces.seek(0)
        return InMemoryUploadedFile(self.pieces, FIELD, "picture", "", file_size, None)
