"""New tables for a pack that stands: its other files, and the comments in them, stay as they are."""

from __future__ import annotations

import tempfile
from pathlib import Path

from bittern.core.errors import InputError
from bittern.formats.packs import ARTICLES, FITMENTS, Pack, write_pack


def write_tables(pack: Pack, folder: Path) -> None:
    """Put the pack's articles and fitments in place of those in ``folder``.

    The whole pack is written elsewhere and read back first; what does not read back as the same pack leaves
    the folder untouched.

    Raises
    ------
    InputError
        The folder cannot be written.
    FaultsError
        The pack breaks the rules of its format.
    """
    try:
        with tempfile.TemporaryDirectory(prefix=f".{folder.name}-", dir=folder.absolute().parent) as desk:
            write_pack(pack, Path(desk) / "pack")
            for file in (ARTICLES, FITMENTS):
                (Path(desk) / "pack" / file).replace(folder / file)
    except OSError as error:
        raise InputError(
            f"a folder that cannot be written ({error})", "a place for a pack", where=str(folder)
        ) from error
