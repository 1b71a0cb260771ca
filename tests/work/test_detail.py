"""What the next step needs, as plain data, in every leg; never a bitting."""

from __future__ import annotations

import json

from bittern.work.detail import describe_open_leg

from .conftest import AUTHORITY, DESK, Bench, flat_bitting


def read(bench: Bench) -> dict:
    found = describe_open_leg(bench.desk, bench.job)
    return json.loads(json.dumps(found))


def test_each_leg_says_what_its_next_step_needs(bench: Bench) -> None:
    assert "photo-identity" in read(bench)["documents"]
    bench.do("record-authority", AUTHORITY, DESK)
    assert read(bench) == {"vehicle": None}
    article = bench.carry_to_key()
    assert article in {one["article"] for one in read(bench)["candidates"]}
    bench.do("choose-article", {"article": article, "because": "The same as the working key."}, DESK)
    assert read(bench)["promise"]["total"]
    bench.do("offer", {}, DESK)
    bench.do("accept", {"accepted_by": "Ilse Peatridge", "accepted_how": "in-person"}, DESK)
    assert read(bench)["reading_fields"][0] == "reading-1"
    bitting = flat_bitting(bench.desk, bench.job)
    bench.do("enter-bitting", {"bitting": bitting})
    blade = read(bench)
    assert bitting not in json.dumps(blade)
    bench.do("record-cut", {"cutter": blade["cutters"][0], "eyes": "yes", "guard": "yes"})
    bench.do("record-inspection", {"result": "fits"})
    assert read(bench)["needs"]
    bench.begin()
    step = read(bench)
    assert (step["phase"], step["visit"]) == ("step", 1)
    assert step["say"]
    bench.walk(until=lambda run: False)
    tests = read(bench)["tests"]
    for test in tests:
        assert test["passed"] is None
        bench.do("answer-test", {"test": test["test"], "result": "passed"})
    assert any(key["new"] for key in read(bench)["keys"])
    bench.do("sign", {"keys_handed": "1", "signed_by": "Ilse", "on_paper": "yes"}, DESK)
    assert read(bench) == {}
