"""Invented customers and plates of an invented town."""

from __future__ import annotations

import random

FIRST = """
Aldis Brannoc Cerys Doran Elspet Fenna Garrick Hesper Ilse Jorun Kester Linnet
Merrin Nessa Orrin Petra Quill Rowan Sorrel Tamsin Ulric Verity Wystan Yarrow
""".split()  # noqa: SIM905
LAST = """
Ashmere Birkfen Coldharrow Dunmarsh Eelbrook Fallowgate Gorsewick Hollinmoor Inchfen
Kilnmead Larksedge Mirefield Nettlecombe Osierbank Peatridge Rushholt Saltreed Thornwater
""".split()  # noqa: SIM905


def make_customer(rng: random.Random) -> dict[str, str]:
    """Return name, telephone (a number that no network gives out) and plate."""
    return {
        "customer": f"{rng.choice(FIRST)} {rng.choice(LAST)}",
        "phone": f"000 {rng.randrange(100, 1000)} {rng.randrange(1000, 10000)}",
        "plate": f"{rng.choice('HKMRST')}{rng.choice('AEU')} {rng.randrange(100, 1000)} {rng.choice('BFWX')}",
    }
