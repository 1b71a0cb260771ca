"""Write the demo pack. Run again, it writes the same bytes: ``python scripts/make_demo_pack.py [FOLDER]``."""

from __future__ import annotations

import sys
from pathlib import Path
from random import Random

SCRIPTS = Path(__file__).resolve().parent
sys.path[:0] = [str(SCRIPTS), str(SCRIPTS.parent / "src")]

from demo_pack.articles import make_articles  # noqa: E402
from demo_pack.blades import BLADES, TOOLS  # noqa: E402
from demo_pack.fitments import make_fitments, make_numbers  # noqa: E402
from demo_pack.sheets import SHEETS  # noqa: E402

from bittern.demo import PACK_DIR  # noqa: E402
from bittern.formats.packs import Pack, write_pack  # noqa: E402

SEED = 20_260


def make_pack() -> Pack:
    """Return the demo pack."""
    random = Random(SEED)  # noqa: S311 - invented data, no secret
    articles, of_make = make_articles(random)
    fitments = make_fitments(articles, of_make, random)
    return Pack(
        id="demo",
        title="Demo pack: invented makes, keys and procedures",
        version="1.0.0",
        licence="CC0-1.0",
        source="Invented by scripts/make_demo_pack.py: no real make, identifier or procedure.",
        region="invented",
        currency="EUR",
        articles=articles,
        fitments=fitments,
        blades={blade.id: blade for blade in BLADES},
        tools={tool.id: tool for tool in TOOLS},
        runsheets={sheet.id: sheet for sheet in SHEETS},
        numbers=make_numbers(fitments),
    )


def main(arguments: list[str]) -> int:
    """Write the pack into the folder given, or where the program keeps it."""
    folder = Path(arguments[0]) if arguments else PACK_DIR
    pack = make_pack()
    write_pack(pack, folder, replace=True)
    sys.stdout.write(f"{folder}: {len(pack.articles)} articles, {len(pack.fitments)} fitments\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
