"""What the page Packs shows."""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from typing import Any

from bittern.bench.desk import find_pack_folder, open_desk
from bittern.bench.packs.list_page import list_all
from bittern.bench.pages.problem import describe_problem
from bittern.core.errors import FaultsError, InputError
from bittern.formats.packs import Pack
from bittern.work.people import Person

FAULTS_SHOWN = 50
# Another part of the bench; the page does without where it is not there.
LEARNT = "bittern.bench.learning.page"

COUNTED = (
    ("articles", "articles"),
    ("fitments", "fitments"),
    ("blades", "blade standards"),
    ("tools", "cutters"),
    ("runsheets", "run sheets"),
    ("numbers", "patterns of vehicle numbers"),
)


def build_packs(person: Person) -> dict[str, Any]:
    """Return the context of the page; a pack that cannot be used is shown with its faults."""
    lists = list_all()
    try:
        desk = open_desk()
    except (FaultsError, InputError) as error:
        problem = describe_problem(error)
        hidden = max(0, len(problem.faults) - FAULTS_SHOWN)
        return {
            "lists": lists,
            "pack_folder": find_pack_folder().name,
            "pack_problem": problem,
            "pack_faults": problem.faults[:FAULTS_SHOWN],
            "pack_faults_hidden": hidden,
        }
    context: dict[str, Any] = {"pack": desk.pack, "counts": count_things(desk.pack), "lists": lists}
    if find_spec(LEARNT.rpartition(".")[0]) and find_spec(LEARNT):
        context["learnt"] = import_module(LEARNT).build_learnt(desk, person)
    return context


def count_things(pack: Pack) -> list[tuple[int, str]]:
    """Return how many of each thing the pack holds."""
    return [(len(getattr(pack, name)), word) for name, word in COUNTED]
