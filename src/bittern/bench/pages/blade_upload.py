"""Taking the picture of a key: one at a time, in memory; scans are larger than photos."""

from __future__ import annotations

from bittern.bench.pages.label_upload import PictureUpload
from bittern.core.errors import InputError
from bittern.formats.images import FILE_LIMIT_BYTES

FIELD = "picture"


class KeyUpload(PictureUpload):
    """Keep one picture in memory and on no disk, up to what is read of a file at all."""

    limit_bytes = FILE_LIMIT_BYTES


def name_missing(*, too_large: bool) -> InputError:
    """Return the error for a picture that did not come."""
    if too_large:
        return InputError(
            f"a file of more than {FILE_LIMIT_BYTES:,} bytes",
            "at most that",
            where=FIELD,
            hint="scan the key alone, not the whole glass",
        )
    return InputError("no picture", "a scan or a photo of the old key", where=FIELD)
