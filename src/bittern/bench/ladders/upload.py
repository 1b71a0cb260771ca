"""Taking a code table's file: from those at the bench, one at a time, in memory and on no disk."""

from __future__ import annotations

from bittern.bench.uploads import FileInMemory
from bittern.formats.texts import TEXT_LIMIT_BYTES

FIELD = "file"


class TableUpload(FileInMemory):
    """Keep one table in memory: unsealed on a disk it would be one too many."""

    field = FIELD
    limit_bytes = TEXT_LIMIT_BYTES
    plain_name = "table.csv"
