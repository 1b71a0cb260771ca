"""What can go wrong with the tables and data that Bittern ships or builds on."""

from __future__ import annotations

from bittern.core.errors import BitternError


class TableError(BitternError):
    """A shipped table is missing, has other columns than said, or has no source."""

    code = "data.table"
    meaning = (
        "A published table that ships with Bittern is missing or damaged; the installation needs mending."
    )


class VpicMissingError(BitternError):
    """The library that carries the public vPIC data is not there."""

    code = "data.vpic-missing"
    meaning = "The public vehicle data (vPIC) cannot be opened; the installation needs mending."
