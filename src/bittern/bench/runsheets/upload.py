"""Taking a run sheet's file: from those at the bench, one at a time, in memory."""

from __future__ import annotations

from bittern.bench.uploads import FileInMemory

FIELD = "file"
# A sheet of 200 steps with long words has a tenth of it.
LIMIT_BYTES = 1_000_000


class SheetUpload(FileInMemory):
    """Keep one file in memory up to the limit."""

    field = FIELD
    limit_bytes = LIMIT_BYTES
    plain_name = "sheet.toml"
