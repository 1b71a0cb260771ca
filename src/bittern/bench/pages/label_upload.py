"""Taking a picture: from those who are logged in, one at a time, in memory, up to a limit."""

from __future__ import annotations

from bittern.bench.uploads import FileInMemory

FIELD = "picture"
LIMIT_BYTES = 20_000_000
"""A photo of 12 megapixels has some five million."""


class PictureUpload(FileInMemory):
    """Keep one picture in memory; what is beyond the limit ends the upload."""

    field = FIELD
    limit_bytes = LIMIT_BYTES
    plain_name = "picture"
