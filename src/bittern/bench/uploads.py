"""Files: no form of the bench has one, so none is taken."""

from __future__ import annotations

from typing import Any, NoReturn

from django.core.exceptions import SuspiciousOperation
from django.core.files.uploadhandler import FileUploadHandler


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
