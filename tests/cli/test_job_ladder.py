"""A ladder climbed from the command line: a shop of its own, one process a call."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.bench.pages.journey import STAGES
from tests.cli.contract.calls import Answer, hold, nullable, outside

KNOWN = "2 1 3 ? ? 2 1 3"
RUNG = {
    "blank": int,
    "cutting": int,
    "cuttings": int,
    "place": int,
    "bitting": str,
    "new_blank": bool,
    "deeper": [str],
}
SHOWN = {
    "number": int,
    "standard": str,
    "known": str,
    "ladders": list,
    "proof": [str],
    "rung": nullable(RUNG),
}


def ask(folder: Path, *words: object, fields: object = None, code: int = 0) -> Answer:
    options = {} if fields is None else {"input": json.dumps(fields).encode()}
    answer = outside("job", *words, "--data", folder, "--json", **options)
    assert answer.code == code, answer.err
    return answer


@pytest.mark.slow
def test_a_ladder_is_climbed_to_the_cutting_that_turns(tmp_path: Path) -> None:
    shop = tmp_path / "data"
    assert outside("setup", "--data", shop, "--login", "odile", input=b"reed and sedge and rush\n").code == 0
    who = ("--person", "odile")
    ask(shop, "open", "-", *who, fields={"want": "spare", "customer": "Ada Rill"})

    def act(name: str, fields: object, code: int = 0) -> Answer:
        return ask(shop, "do", 1, name, "-", *who, fields=fields, code=code)

    for stage in STAGES.values():
        for name, fields in stage:
            act(name, fields)
    too_few = act("plan-ladder", {"known": "2 ? ? ? ? ? ? ?"}, code=2)
    assert "find out cut" in too_few.err
    act("plan-ladder", {"known": KNOWN})
    act("begin-ladder", {"cutter": "wheel-90", "eyes": "yes", "guard": "yes"})
    look = ("ladder", 1, *who, "--reason", "cutting it")
    opened = ask(shop, *look).data
    hold(opened, SHOWN)
    rungs = [rung for ladder in opened["ladders"] for rung in ladder]
    assert (opened["rung"]["bitting"], opened["rung"]["new_blank"]) == (rungs[0], True)
    done = act("ladder-rung", {"answer": "no", "place": opened["rung"]["place"]})
    assert "blank 1, cutting 2" in done.data["next"]["say"]
    shown = ask(shop, "show", 1).data["open"]["ladder"]
    assert (shown["state"], shown["place"], shown["tried"]) == ("open", 1, 1)
    assert rungs[1] not in json.dumps(ask(shop, "show", 1).data)
    said = outside("job", *look, "--data", shop)
    assert said.out.startswith(
        f"Blank 1, cutting 2 of {len(opened['ladders'][0])}: {rungs[1]}, deeper at cut"
    )
    act("ladder-turned", {"place": 1}, code=2)
    act("ladder-turned", {"place": 1, "sure": "yes", "keep_blank": "yes"})
    # The plan is destroyed with it.
    assert "no ladders" in ask(shop, *look, code=2).err
    assert outside("log", "verify", "--data", shop, "--json").data["ok"]
