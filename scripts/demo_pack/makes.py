"""Invented makes and models.

The makes are made-up words, the models words of marshes, shores and hills, none of them known to us as a
vehicle's name. The first three characters of their numbers (WMI) stand for no maker in the public vehicle
data; a test keeps it so.
"""

from __future__ import annotations

from dataclasses import dataclass

MHZ = 1_000_000


@dataclass(frozen=True)
class Make:
    """One invented make: what all its keys have in common.

    ``code`` begins the ids of its articles; ``stem`` begins its product codes; ``blades`` are the standards
    of its oldest, middle and newest keys; ``family`` names its run sheets.
    """

    name: str
    code: str
    family: str
    wmis: tuple[str, ...]
    grantee: str
    stem: str
    blades: tuple[str, str, str]
    chips: tuple[str, str, str]
    carriers_hz: tuple[int, int]
    models: tuple[str, ...]


EAST, WEST, NORTH = (433_920_000, 868_300_000), (315_000_000, 433_920_000), (315_000_000, 902_500_000)

# Grantee codes: five characters as assigned since 2013 (47 CFR 2.926, DA 13-669), all beginning with 9ZZ, the
# very end of that range, so that nobody takes one for real.
MAKES = (
    Make("Quillmoor", "QUI", "marsh", ("1X0", "HA7"), "9ZZQM", "QM",
         ("heron-8", "heron-8", "eddy-6"), ("tern-a", "tern-b", "gull-c"), WEST,
         ("Whimbrel", "Dunlin", "Godwit", "Bulrush", "Oxbow")),
    Make("Fennric", "FEN", "fen", ("HR8", "GL4"), "9ZZFR", "FK",
         ("sedge-7", "reed-6", "eddy-6"), ("tern-a", "tern-b", "gull-c"), EAST,
         ("Reedmace", "Bogbean", "Cottongrass", "Runnel", "Sluice")),
    Make("Ostavel", "OST", "fell", ("2W0", "2X7"), "9ZZST", "SV",
         ("rush-10", "rush-10", "weir-8"), ("plover-a", "plover-b", "gull-c"), NORTH,
         ("Drumlin", "Esker", "Moraine", "Corrie", "Scree")),
    Make("Brackwyn", "BRA", "tide", ("GX2", "FN6", "FR3"), "9ZZBW", "BW",
         ("osier-10", "osier-10", "weir-8"), ("tern-a", "plover-b", "skua-c"), EAST,
         ("Saltwort", "Samphire", "Mudflat", "Foreshore", "Shingle")),
    Make("Tarnholt", "TAR", "reed", ("3WX", "3X0"), "9ZZTH", "TH",
         ("sedge-7", "alder-8", "alder-8"), ("plover-a", "tern-b", "skua-c"), WEST,
         ("Lapwing", "Phalarope", "Dotterel", "Turnstone", "Fellside")),
    Make("Ullsgard", "ULL", "fell", ("DT8", "DX5"), "9ZZUG", "UG",
         ("rush-10", "reed-6", "reed-6"), ("plover-a", "plover-b", "skua-c"), EAST,
         ("Wheatear", "Brambling", "Fieldfare", "Pipit", "Hummock")),
    Make("Wetherne", "WET", "marsh", ("4X0", "4ZR"), "9ZZWE", "WN",
         ("heron-8", "reed-6", "eddy-6"), ("tern-a", "tern-b", "gull-c"), WEST,
         ("Meadowsweet", "Loosestrife", "Teasel", "Tansy", "Sundew")),
    Make("Corrigell", "COR", "tide", ("CU7", "CV6"), "9ZZCR", "CG",
         ("osier-10", "fell-9", "fell-9"), ("tern-a", "plover-b", "skua-c"), EAST,
         ("Causeway", "Towpath", "Backwater", "Breakwater")),
    Make("Dunlarch", "DUN", "reed", ("5ZX", "5W0"), "9ZZDL", "DL",
         ("alder-8", "alder-8", "weir-8"), ("plover-a", "tern-b", "gull-c"), NORTH,
         ("Redshank", "Greenshank", "Stonechat", "Redpoll", "Wryneck")),
    Make("Halvessa", "HAL", "fen", ("BT5", "BX4"), "9ZZHV", "HV",
         ("sedge-7", "reed-6", "eddy-6"), ("tern-a", "tern-b", "gull-c"), EAST,
         ("Garganey", "Gadwall", "Pochard", "Smew", "Siskin")),
    Make("Skerrow", "SKE", "fell", ("AR3", "AU6"), "9ZZSK", "SK",
         ("rush-10", "fell-9", "weir-8"), ("plover-a", "plover-b", "skua-c"), EAST,
         ("Freshet", "Spate", "Rill", "Headland")),
    Make("Vennick", "VEN", "tide", ("3ZK", "EM8"), "9ZZVK", "VK",
         ("osier-10", "heron-8", "weir-8"), ("tern-a", "plover-b", "gull-c"), WEST,
         ("Horsetail", "Burdock", "Comfrey", "Watermint", "Fleabane")),
    Make("Yarrowby", "YAR", "marsh", ("GS7", "HX6"), "9ZZYB", "YR",
         ("heron-8", "fell-9", "eddy-6"), ("tern-a", "tern-b", "skua-c"), EAST,
         ("Sphagnum", "Ouzel", "Saltmarsh", "Weirside")),
    Make("Morvane", "MOR", "reed", ("1ZX", "HE7"), "9ZZMV", "MR",
         ("sedge-7", "alder-8", "eddy-6"), ("plover-a", "tern-b", "gull-c"), NORTH,
         ("Holmgate", "Combeside", "Cairnlee", "Ripplestone", "Marramside")),
)  # fmt: skip
