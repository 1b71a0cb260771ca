"""A pack as one file reads back as the same pack, is the same bytes each time, and overwrites nothing."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import pytest

from bittern.core.errors import InputError
from bittern.formats.pack_export import export_pack, zip_pack
from bittern.formats.packs import read_pack

MINIMAL = Path(__file__).parents[1] / "files" / "packs" / "minimal"


def test_a_zipped_pack_reads_back_as_the_same_pack(tmp_path: Path) -> None:
    pack = read_pack(MINIMAL)
    archive = zip_pack(pack)
    assert archive == zip_pack(pack)
    with zipfile.ZipFile(io.BytesIO(archive)) as held:
        assert {name.split("/")[0] for name in held.namelist()} == {pack.id}
        held.extractall(tmp_path)
    assert read_pack(tmp_path / pack.id) == pack


@pytest.mark.parametrize("name", ["pack", "pack.zip", "pack.ZIP"])
def test_it_is_written_where_nothing_stands_and_nowhere_else(name: str, tmp_path: Path) -> None:
    pack, out = read_pack(MINIMAL), tmp_path / name
    export_pack(pack, out)
    assert zipfile.is_zipfile(out) if name.lower().endswith("zip") else read_pack(out) == pack
    before = out.read_bytes() if out.is_file() else b""
    with pytest.raises(InputError):
        export_pack(pack, out)
    assert (out.read_bytes() if out.is_file() else b"") == before


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path) -> None:
    with pytest.raises(InputError):
        export_pack(read_pack(MINIMAL), tmp_path / "missing" / "pack.zip")
