"""The plan of a job's cut: who may have it, when it is out of date, and what is never handed out."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import replace

import pytest

from bittern.core.errors import InputError
from bittern.engines.blade.bitting import Bitting, find_violations, format_bitting, parse_bitting
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.machine import Machine
from bittern.formats.packs import Pack
from bittern.work import cutting_plan
from bittern.work.blade import get_standard, list_cutters
from bittern.work.cutting import prove_program
from bittern.work.cutting_plan import (
    TICKS,
    CutPlan,
    SpoilsError,
    is_program_outdated,
    mark_plan,
    plan_again,
    plan_cut,
    take_program,
)
from bittern.work.errors import ClosedError, ConflictError, FieldsError, NotAllowedError, NotYetError

from .conftest import DESK, TECH, Bench, flat_bitting

MACHINE = Machine()


@pytest.fixture
def ready(pack: Pack) -> Iterator[Bench]:
    bench = Bench(pack)
    bench.carry_to_blade()
    bench.do("enter-bitting", {"bitting": flat_bitting(bench.desk, bench.job)})
    yield bench


def choose(bench: Bench) -> dict[str, object]:
    cutter = list_cutters(bench.desk, bench.job)[0].cutter
    return {"cutter": cutter.id, "material": "brass", "milling": "climb", "reason": "to cut it"}


def see(bench: Bench, machine: Machine = MACHINE) -> dict[str, object]:
    """Return the fields of somebody who saw the plan as it stands now and ticked all."""
    fields = choose(bench)
    cutter = bench.desk.pack.tools[str(fields["cutter"])]
    mark = mark_plan(bench.job, get_standard(bench.desk, bench.job), cutter, machine)
    return {**fields, **dict.fromkeys(TICKS, "yes"), "set_up": name_first(bench), "planned_for": mark}


def name_first(bench: Bench) -> str:
    return "A" if get_standard(bench.desk, bench.job).sides == "split" else ""


def test_the_program_that_is_taken_makes_the_sealed_bitting(ready: Bench) -> None:
    fields = see(ready)
    name, text = take_program(ready.desk, ready.number, TECH, fields, MACHINE)
    standard, cutter = get_standard(ready.desk, ready.job), ready.desk.pack.tools[str(fields["cutter"])]
    bitting = parse_bitting(standard, flat_bitting(ready.desk, ready.job))
    assert prove_program(text, standard, bitting, cutter).good
    assert name.startswith(f"job-{ready.number}")
    assert ready.kinds()[-2:] == ["seal.looked", "cut.program"]


def test_no_entry_of_the_log_holds_the_bitting(ready: Bench) -> None:
    take_program(ready.desk, ready.number, TECH, see(ready), MACHINE)
    secret = flat_bitting(ready.desk, ready.job)
    for entry in ready.store.entries(ready.number):
        assert secret not in repr(entry.payload)


@pytest.mark.parametrize("tick", TICKS)
def test_each_tick_is_asked_for(ready: Bench, tick: str) -> None:
    before = ready.kinds()
    with pytest.raises(FieldsError) as caught:
        take_program(ready.desk, ready.number, TECH, {**see(ready), tick: ""}, MACHINE)
    assert list(caught.value.fields) == [tick]
    # The seal stays closed.
    assert ready.kinds() == before


def test_the_counter_plans_no_cut(ready: Bench) -> None:
    for use in (plan_cut, plan_again, take_program):
        with pytest.raises(NotAllowedError):
            use(ready.desk, ready.number, DESK, see(ready), MACHINE)


def test_no_plan_without_a_bitting_and_none_without_a_reason(pack: Pack, ready: Bench) -> None:
    bench = Bench(pack)
    bench.carry_to_blade()
    with pytest.raises(NotYetError, match="no bitting"):
        plan_cut(bench.desk, bench.number, TECH, choose(bench), MACHINE)
    with pytest.raises(FieldsError) as caught:
        plan_cut(ready.desk, ready.number, TECH, {**choose(ready), "reason": " "}, MACHINE)
    assert list(caught.value.fields) == ["reason"]


def test_a_withdrawn_job_is_not_cut(ready: Bench) -> None:
    fields = see(ready)
    ready.do("withdraw", {"because": "The old key turned up."})
    for use in (plan_cut, plan_again, take_program):
        with pytest.raises(ClosedError):
            use(ready.desk, ready.number, TECH, fields, MACHINE)


def test_a_replaced_bitting_and_another_profile_put_a_plan_out_of_date(ready: Bench) -> None:
    fields = see(ready)
    with pytest.raises(ConflictError):
        take_program(ready.desk, ready.number, TECH, fields, replace(MACHINE, clear_mm=9.0))
    assert not is_program_outdated(ready.desk, ready.job)
    take_program(ready.desk, ready.number, TECH, fields, MACHINE)
    assert not is_program_outdated(ready.desk, ready.job)
    ready.do("enter-bitting", {"bitting": flat_bitting(ready.desk, ready.job)})
    assert is_program_outdated(ready.desk, ready.job)
    for use in (plan_again, take_program):
        with pytest.raises(ConflictError):
            use(ready.desk, ready.number, TECH, fields, MACHINE)
    take_program(ready.desk, ready.number, TECH, see(ready), MACHINE)
    assert not is_program_outdated(ready.desk, ready.job)


def test_a_standard_that_changed_in_the_pack_puts_a_plan_out_of_date(ready: Bench) -> None:
    fields, pack = see(ready), ready.desk.pack
    standard = get_standard(ready.desk, ready.job)
    moved = replace(standard, tolerance_mm=standard.tolerance_mm / 2)
    desk = replace(ready.desk, pack=replace(pack, blades={**pack.blades, standard.id: moved}))
    with pytest.raises(ConflictError):
        take_program(desk, ready.number, TECH, fields, MACHINE)


def test_a_bitting_replaced_while_the_program_is_made_is_noticed(
    ready: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    fields = see(ready)

    def plan_slowly(*args: object) -> CutPlan:
        plan = plan_cut(*args)  # type: ignore[arg-type]
        ready.do("enter-bitting", {"bitting": flat_bitting(ready.desk, ready.job)})
        return plan

    monkeypatch.setattr(cutting_plan, "plan_cut", plan_slowly)
    with pytest.raises(ConflictError):
        take_program(ready.desk, ready.number, TECH, fields, MACHINE)
    assert "cut.program" not in ready.kinds()


def test_a_program_that_would_spoil_the_key_is_never_handed_out(
    ready: Bench, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cutting_plan, "list_spoiling", lambda swept: ["gouge of 0.2 mm at cut 3"])
    with pytest.raises(SpoilsError, match="gouge"):
        take_program(ready.desk, ready.number, TECH, see(ready), MACHINE)
    assert "cut.program" not in ready.kinds()


def test_each_edge_of_a_split_blade_has_a_program_of_its_own(pack: Pack) -> None:
    bench = Bench(pack)
    bench.carry_to_blade()
    wanted = get_standard(bench.desk, bench.job).id
    split = next(one for one in pack.blades.values() if one.sides == "split")
    bench.desk = replace(bench.desk, pack=replace(pack, blades={**pack.blades, wanted: split}))
    text = draw_two_edges(split)
    bench.do("enter-bitting", {"bitting": text})
    bitting, fields = parse_bitting(split, text), see(bench)
    cutter = bench.desk.pack.tools[str(fields["cutter"])]
    with pytest.raises(InputError, match="A or B"):
        take_program(bench.desk, bench.number, TECH, {**fields, "set_up": ""}, MACHINE)
    for edge, name in enumerate("AB"):
        file, program = take_program(bench.desk, bench.number, TECH, {**fields, "set_up": name}, MACHINE)
        assert file == f"job-{bench.number}-edge-{name}.nc"
        assert prove_program(program, split, bitting, cutter, edge=edge).good
        # The edges differ: the other one's program would spoil the key.
        assert not prove_program(program, split, bitting, cutter, edge=1 - edge).good
    taken = [entry.payload["set_up"] for entry in bench.store.entries(bench.number, "cut.program")]
    assert taken == ["A", "B"]


def draw_two_edges(split: BladeStandard) -> str:
    """Return a bitting whose edges differ."""
    rng = random.Random(5)
    count = len(split.positions_mm)
    while True:
        low = [rng.randrange(len(split.depths_mm)) for _ in range(count)]
        other = [rng.randrange(len(split.depths_mm)) for _ in range(count)]
        bitting = Bitting((tuple(low), tuple(other)))
        if low != other and not find_violations(split, bitting):
            return format_bitting(split, bitting)


def test_the_mark_of_a_plan_says_nothing_of_the_bitting(ready: Bench) -> None:
    fields = choose(ready)
    standard, cutter = get_standard(ready.desk, ready.job), ready.desk.pack.tools[str(fields["cutter"])]
    before = mark_plan(ready.job, standard, cutter, MACHINE)
    ready.desk.store.seal(ready.number, "bitting", "another")
    assert mark_plan(ready.job, standard, cutter, MACHINE) == before
