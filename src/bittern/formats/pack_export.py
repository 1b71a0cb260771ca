"""A pack as one file: the pack's folder in a ZIP archive (PKWARE APPNOTE; ISO/IEC 21320-1)."""

from __future__ import annotations

import io
import os
import tempfile
import zipfile
from pathlib import Path

from bittern.core.errors import InputError
from bittern.formats.packs import Pack, write_pack

# The earliest day that the format knows: the same pack is the same bytes whenever it is written.
_DAY = (1980, 1, 1, 0, 0, 0)


def zip_pack(pack: Pack) -> bytes:
    """Return the archive of ``pack``: its folder, named after its id; errors as of :func:`write_pack`."""
    with tempfile.TemporaryDirectory(prefix="bittern-pack-") as place:
        folder = Path(place) / pack.id
        write_pack(pack, folder)
        held = io.BytesIO()
        with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in sorted(path for path in folder.rglob("*") if path.is_file()):
                name = zipfile.ZipInfo(path.relative_to(place).as_posix(), _DAY)
                name.external_attr = 0o644 << 16
                name.compress_type = zipfile.ZIP_DEFLATED
                archive.writestr(name, path.read_bytes())
        return held.getvalue()


def export_pack(pack: Pack, out: Path) -> None:
    """Write ``pack`` to ``out``: an archive where the name ends in .zip, else a new or empty folder.

    Raises
    ------
    InputError
        Something stands there already, or it cannot be written.
    FaultsError
        The pack breaks the rules of its format.
    """
    if out.suffix.lower() != ".zip":
        write_pack(pack, out)
        return
    archive = zip_pack(pack)
    try:
        # Never over another file: an archive is small, a slip of the hand is quick.
        with os.fdopen(os.open(out, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o644), "wb") as file:
            file.write(archive)
    except FileExistsError as error:
        raise InputError("something already there", "a name that is free", where=str(out)) from error
    except OSError as error:
        raise InputError(str(error), "a path that can be written", where=str(out)) from error
