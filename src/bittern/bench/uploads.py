"""Files: refused, but where a form asks for one; then one, of that field, up to a limit."""

from __future__ import annotations

from io import BytesIO
from typing import Any, ClassVar, NoReturn

from django.core.exceptions import SuspiciousOperation
from django.core.files.uploadedfile import InMemoryUploadedFile
from django.core.files.uploadhandler import FileUploadHandler, StopUpload


class RefuseFiles(FileUploadHandler):
    """Refuse a form with a file in it.

    Files do not count among what a form may weigh, and a form is read for its token before anybody is asked
    who they are: a stranger could fill the disk.
    """

    def new_file(self, *args: Any, **kwargs: Any) -> NoReturn:
        """Refuse, before anything of the file is kept."""
        raise SuspiciousOperation("found a file, expected form fields alone")

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        """Keep nothing."""

    def file_complete(self, file_size: int) -> None:
        """Return no file."""


class OneFile(FileUploadHandler):
    """Take one file of one field up to a limit; anything else ends the upload.

    A class that keeps what comes goes on from here. ``too_large`` says afterwards that the limit ended it.
    """

    field: ClassVar[str]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.received = 0
        self.files = 0
        self.too_large = False

    def new_file(self, *args: Any, **kwargs: Any) -> None:
        """Begin a file; a second one, or one of another field, ends the upload."""
        super().new_file(*args, **kwargs)
        self.files += 1
        if self.files > 1 or self.field_name != self.field:
            raise StopUpload(connection_reset=False)

    def count(self, raw_data: bytes, limit_bytes: int) -> None:
        """Count a piece; more than the limit in all ends the upload."""
        self.received += len(raw_data)
        if self.received > limit_bytes:
            self.too_large = True
            raise StopUpload(connection_reset=False)


class FileInMemory(OneFile):
    """Keep one file in memory and on no disk; what its sender called it is of no interest."""

    limit_bytes: ClassVar[int]
    plain_name: ClassVar[str]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pieces = BytesIO()

    def receive_data_chunk(self, raw_data: bytes, start: int) -> None:
        """Keep a piece; nothing is kept of what is too much."""
        try:
            self.count(raw_data, self.limit_bytes)
        except StopUpload:
            self.pieces = BytesIO()
            raise
        self.pieces.write(raw_data)

    def file_complete(self, file_size: int) -> InMemoryUploadedFile:
        """Return the file."""
        self.pieces.seek(0)
        return InMemoryUploadedFile(self.pieces, self.field, self.plain_name, "", file_size, None)
