"""What a cutter has done is counted, and a look at its teeth begins the count anew."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import pytest

from bittern.formats.packs import Pack
from bittern.work.cutter_use import CutterUse, CutterUseError, count_cut, find_use, is_due, record_look
from bittern.work.errors import NotAllowedError
from bittern.work.ports import Desk

from .conftest import DESK, TECH, Bench


class Uses:
    """Counts in memory."""

    def __init__(self) -> None:
        self.kept: dict[str, CutterUse] = {}

    def add(self, cutter: str, minutes: float) -> None:
        use = self.find(cutter)
        self.kept[cutter] = replace(use, cuts=use.cuts + 1, minutes=use.minutes + minutes)

    def look(self, cutter: str, person: str, at: datetime) -> None:
        self.kept[cutter] = CutterUse(cutter, looked_at=at, looked_by=person)

    def find(self, cutter: str) -> CutterUse:
        return self.kept.get(cutter, CutterUse(cutter))


@pytest.fixture
def desk(pack: Pack) -> Desk:
    return replace(Bench(pack).desk, uses=Uses())


def test_a_look_is_due_when_the_minutes_reach_the_shops_life_and_not_before(desk: Desk, pack: Pack) -> None:
    cutter, life = next(iter(pack.tools)), desk.terms.cutter_life_min
    count_cut(desk, cutter, life - 0.5)
    assert not is_due(desk, find_use(desk, cutter))
    count_cut(desk, cutter, 0.5)
    use = find_use(desk, cutter)
    assert (use.cuts, use.minutes) == (2, life)
    assert is_due(desk, use)
    record_look(desk, TECH, cutter)
    looked = find_use(desk, cutter)
    assert (looked.cuts, looked.minutes, looked.looked_by) == (0, 0.0, TECH.login)
    assert not is_due(desk, looked)


def test_each_cutter_counts_for_itself(desk: Desk, pack: Pack) -> None:
    first, second, *_ = pack.tools
    count_cut(desk, first, 3.0)
    assert find_use(desk, second) == CutterUse(second)


def test_only_the_bench_looks_and_only_at_cutters_of_the_pack(desk: Desk, pack: Pack) -> None:
    with pytest.raises(NotAllowedError):
        record_look(desk, DESK, next(iter(pack.tools)))
    with pytest.raises(CutterUseError):
        record_look(desk, TECH, "no such cutter")


def test_where_nothing_counts_a_cut_is_recorded_all_the_same(pack: Pack) -> None:
    desk, cutter = Bench(pack).desk, next(iter(pack.tools))
    assert desk.uses is None
    count_cut(desk, cutter, 5.0)
    assert find_use(desk, cutter) == CutterUse(cutter)
    with pytest.raises(CutterUseError):
        record_look(desk, TECH, cutter)
