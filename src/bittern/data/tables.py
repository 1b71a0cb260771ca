"""The one loader of published tables: CSV for the numbers, ``sources.toml`` for who published them."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from types import MappingProxyType

from bittern.data.errors import TableError


@dataclass(frozen=True, slots=True)
class Source:
    """Who published a table and how sure we are of our copy (A, B or C; see ``sources.toml``)."""

    title: str
    source: str
    sure: str
    columns: Mapping[str, str]


@cache
def read_sources() -> Mapping[str, Source]:
    """Return the source of every table by the table's name."""
    entries = tomllib.loads(_read_text("sources.toml"))
    return MappingProxyType({name: Source(**entry) for name, entry in entries.items()})


@cache
def read_table(name: str) -> tuple[Mapping[str, str], ...]:
    """Return the rows of the table ``name``, each a mapping from column to text.

    Raises
    ------
    TableError
        The table is not there, has no source, or its columns are not those its source describes.
    """
    source = read_sources().get(name)
    if source is None:
        raise TableError(f"no source for the table {name}", "an entry in sources.toml", where=name)
    lines = csv.DictReader(_read_text(f"{name}.csv").splitlines(), strict=True)
    if list(lines.fieldnames or ()) != list(source.columns):
        raise TableError(
            f"columns {lines.fieldnames}", f"columns {list(source.columns)}", where=f"{name}.csv"
        )
    rows = []
    for row in lines:
        if None in row or None in row.values():
            raise TableError(f"a row of another length: {row}", "one field a column", where=f"{name}.csv")
        rows.append(MappingProxyType(row))
    return tuple(rows)


@cache
def letter_values() -> Mapping[str, int]:
    """Return the assigned value of each character of a vehicle number (49 CFR 565.15, Table III).

    >>> letter_values()["S"]
    2
    """
    return MappingProxyType({row["character"]: int(row["value"]) for row in read_table("vin_letters")})


@cache
def position_weights() -> tuple[int, ...]:
    """Return the 17 weights in order of position (49 CFR 565.15, Table IV).

    >>> position_weights()[8]
    0
    """
    rows = sorted(read_table("vin_weights"), key=lambda row: int(row["position"]))
    return tuple(int(row["weight"]) for row in rows)


@cache
def model_year_codes() -> Mapping[str, int]:
    """Return the first-cycle model year of each code (49 CFR 565.15, Table VII).

    >>> model_year_codes()["Y"]
    2000
    """
    return MappingProxyType({row["code"]: int(row["year"]) for row in read_table("vin_years")})


def _read_text(file: str) -> str:
    try:
        return resources.files("bittern.data").joinpath(file).read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise TableError(
            f"{file}: {error}", "a table that ships with Bittern", hint="install again"
        ) from error
