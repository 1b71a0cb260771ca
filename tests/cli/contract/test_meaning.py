"""The numbers mean what the reference says: each is found again here from its definition alone."""

from __future__ import annotations

import csv
import itertools
import math
import random
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.cli.contract.calls import BITTING, FILES, PACK, Call

SHEETS = {
    "by hand": PACK / "runsheets" / "marsh-turn-pair.toml",
    **{
        path.stem: path
        for path in sorted((Path(__file__).parents[4] / "src/bittern/demo/pack/runsheets").glob("*.toml"))
    },
}
BLADES = {
    "heron-8": BITTING,
    "mallow-4": "A B C B",
    "sorrel-4": "1 3 2 1 / 3 3 1 2",
    "tansy-5": "1 4 2 2 3",
}


def read_toml(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))


def height(blade: dict[str, Any], labels: list[str], x: float) -> float:
    """Return h(x) by the formula of the reference."""
    cuts = blade["cuts"]
    depth = dict(zip(cuts["labels"], cuts["depths"], strict=True))
    width = blade["blank"]["width"]
    top = width if cuts.get("sides", "single") == "single" else width / 2
    slope = 1 / math.tan(math.radians(cuts["angle"] / 2))
    roots = [
        depth[label] + max(0.0, abs(x - place) - cuts["flat"] / 2) * slope
        for place, label in zip(cuts["positions"], labels, strict=True)
    ]
    return min(top, *roots)


def centre(blade: dict[str, Any], labels: list[str], x: float) -> float:
    """Return a track's offset: kept for the flat about each position, straight between."""
    cuts = blade["cuts"]
    depth = dict(zip(cuts["labels"], cuts["depths"], strict=True))
    bends = [
        (place + side * cuts["flat"] / 2, depth[label])
        for place, label in zip(cuts["positions"], labels, strict=True)
        for side in (-1, 1)
    ]
    if x <= bends[0][0]:
        return bends[0][1]
    for (x0, h0), (x1, h1) in itertools.pairwise(bends):
        if x <= x1:
            return h0 + (h1 - h0) * (x - x0) / (x1 - x0)
    return bends[-1][1]


def follow(points: list[list[float]], x: float) -> float:
    """Return the height of the polyline at ``x``."""
    for (x0, h0), (x1, h1) in itertools.pairwise(points):
        if x <= x1:
            return h0 + (h1 - h0) * (x - x0) / (x1 - x0)
    raise AssertionError(x)


def expect(name: str) -> tuple[dict[str, Any], list[Callable[[float], float]]]:
    """Return a standard, and the upper and (where there is one) the lower line as functions of x."""
    blade = read_toml(PACK / "blades" / f"{name}.toml")
    edges = [part.split() for part in BLADES[name].split(" / ")]
    if blade["kind"] == "track":
        return blade, [lambda x: centre(blade, edges[0], x)]
    lines: list[Callable[[float], float]] = [lambda x: height(blade, edges[0], x)]
    if blade["cuts"].get("sides", "single") != "single":
        lines.append(lambda x: -height(blade, edges[-1], x))
    return blade, lines


@pytest.mark.parametrize("name", BLADES)
def test_the_contour_is_the_formula_everywhere(call: Call, name: str) -> None:
    blade, lines = expect(name)
    words = ("blade", "contour", "--standard", name, "--bitting", BLADES[name], "--pack", PACK, "--json")
    data = call(*words).data
    generator = random.Random(8)
    length = blade["blank"]["length"]
    assert ("lower_points_mm" in data) is (len(lines) == 2)
    for key, line in zip(("points_mm", "lower_points_mm"), lines, strict=False):
        points = data[key]
        xs = [x for x, _ in points]
        assert xs[0] == 0
        assert xs[-1] == pytest.approx(length)
        assert all(before < after for before, after in itertools.pairwise(xs))
        for x in [*xs, *(generator.uniform(0, length) for _ in range(500))]:
            assert follow(points, x) == pytest.approx(line(x), abs=1e-9), (key, x)


@pytest.mark.parametrize("step", [0.001, 0.3, 7.0, 1000.0])
@pytest.mark.parametrize("name", BLADES)
def test_a_step_samples_the_same_contour(call: Call, name: str, step: float) -> None:
    blade, lines = expect(name)
    words = ("blade", "contour", "--standard", name, "--bitting", BLADES[name], "--pack", PACK, "--json")
    points = call(*words, "--step", step).data["points_mm"]
    length = blade["blank"]["length"]
    wanted = [number * step for number in range(math.floor(length / step + 1e-9) + 1)]
    if length - wanted[-1] > 1e-9:
        wanted.append(length)
    assert [x for x, _ in points] == pytest.approx(wanted, abs=1e-9)
    for x, h in points[:: max(1, len(points) // 500)]:
        assert h == pytest.approx(lines[0](x), abs=1e-9)


def test_the_root_of_each_cut_is_its_depth(call: Call) -> None:
    points = call("blade", "contour", "--standard", "heron-8", "--bitting", BITTING, "--json", "--pack", PACK)
    depths = {"1": 8.00, "2": 7.40, "3": 6.80, "4": 6.20}
    for number, label in enumerate(BITTING.split(), 1):
        for x in (3.0 * number - 0.5, 3.0 * number, 3.0 * number + 0.5):
            assert follow(points.data["points_mm"], x) == pytest.approx(depths[label])


def simulate(sheet: dict[str, Any], generator: random.Random) -> tuple[str, float]:
    """Walk a run sheet once by the meaning that the reference gives it; return the outcome and the time."""
    steps = {step["id"]: step for step in sheet["step"]}
    step, time = steps[sheet["start"]], 0.0
    while step["kind"] != "end":
        low, high = step.get("typical_s", 0.0), step.get("slowest_s", step.get("typical_s", 0.0))
        # Falling from its peak at the low end: random's triangular law with its mode there.
        time += generator.triangular(low, high, low)
        draw, to = generator.random(), ""
        for failure in step.get("fails", []):
            draw -= failure["chance"]
            if draw < 0:
                to = failure["to"]
                break
        if not to and step["kind"] == "choose":
            options = step["options"]
            left = 1 - sum(option.get("chance", 0.0) for option in options)
            free = sum("chance" not in option for option in options)
            weights = [option.get("chance", left / free if free else 0.0) for option in options]
            to = generator.choices(options, weights)[0]["then"]
        step = steps[to or step["then"]]
    return step["outcome"], time


RUNS = 12_000


@pytest.mark.parametrize("path", SHEETS.values(), ids=SHEETS)
def test_the_figures_of_a_run_sheet_are_those_of_walking_it(call: Call, path: Path) -> None:
    sheet = read_toml(path)
    data = call("runsheet", "check", path, "--json").data
    assert data["ok"] is True
    generator = random.Random(13)
    runs = [simulate(sheet, generator) for _ in range(RUNS)]
    times = sorted(time for _, time in runs)
    mean = sum(times) / RUNS
    sd = math.sqrt(sum((time - mean) ** 2 for time in times) / RUNS)
    # Five standard errors: with fixed seeds this is a fact, and it leaves no room for another definition.
    assert abs(data["time_s"]["mean"] - mean) <= 5 * sd / math.sqrt(RUNS) + 1e-9
    assert data["p_good"] + data["p_unchanged"] + data["p_stranded"] == pytest.approx(1)
    for outcome in ("good", "unchanged", "stranded"):
        p = data[f"p_{outcome}"]
        share = sum(found == outcome for found, _ in runs) / RUNS
        assert abs(share - p) <= 5 * math.sqrt(max(p * (1 - p), 1 / RUNS) / RUNS)
    for name, q in (("p50", 0.5), ("p90", 0.9)):
        slack = 5 * math.sqrt(q * (1 - q) / RUNS)
        quantile = data["time_s"][name]
        assert sum(time < quantile * 0.999 for time in times) / RUNS <= q + slack
        assert sum(time <= quantile * 1.001 for time in times) / RUNS >= q - slack
    assert data["census"] == sheet["census"]
    assert data["points_of_no_return"] == [step["id"] for step in sheet["step"] if step.get("no_return")]


def test_the_example_of_the_reference_in_closed_form(call: Call, tmp_path: Path) -> None:
    """Without its window, which the step's typical time cannot meet, and with the ends that it names."""
    text = (FILES / "runsheets" / "marsh-turn-pair.toml").read_text(encoding="utf-8")
    ends = '[[step]]\nid = "wake"\nkind = "end"\noutcome = "good"\n'
    ends += '[[step]]\nid = "supply-low"\nkind = "end"\noutcome = "unchanged"\n'
    file = tmp_path / "sheet.toml"
    file.write_text(text + ends, encoding="utf-8")
    data = call("runsheet", "check", file, "--json").data
    (fault,) = data["faults"]
    assert (fault["where"], "window" in fault["found"]) == ("settle", True)
    file.write_text((text + ends).replace("window_s = 10 ", "# "), encoding="utf-8")
    data = call("runsheet", "check", file, "--json").data
    assert (data["ok"], data["points_of_no_return"], data["census"]) == (True, ["settle"], "present-only")
    assert (data["p_good"], data["p_unchanged"], data["p_stranded"]) == pytest.approx((0.97, 0.03, 0.0))
    # F(t) = 1 - ((90 - t) / 60)^2 on [30, 90]; the mean is (2 * 30 + 90) / 3.
    assert data["time_s"]["mean"] == pytest.approx(50)
    assert data["time_s"]["p50"] == pytest.approx(90 - 60 * math.sqrt(0.5), rel=1e-4)
    assert data["time_s"]["p90"] == pytest.approx(90 - 60 * math.sqrt(0.1), rel=1e-4)


def test_the_check_digit_is_the_weighted_sum(call: Call) -> None:
    """Letter values and weights of 49 CFR 565.15(c), Tables III and IV, written out once more."""
    letters = dict(
        zip(
            "ABCDEFGHJKLMNPRSTUVWXYZ",
            (1, 2, 3, 4, 5, 6, 7, 8, 1, 2, 3, 4, 5, 7, 9, 2, 3, 4, 5, 6, 7, 8, 9),
            strict=True,
        )
    )
    values = letters | {digit: int(digit) for digit in "0123456789"}
    weights = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
    generator = random.Random(17)
    for _ in range(60):
        vin = generator.choice("12345") + "".join(generator.choices(list(values), k=16))
        vin = vin[:9] + generator.choice("ABCDEFGHJKLMNPRSTVWXY123456789") + vin[10:]
        rest = sum(values[sign] * weight for sign, weight in zip(vin, weights, strict=True)) % 11
        expected = "X" if rest == 10 else str(rest)
        answer = call("vin", "check", vin, "--json")
        assert answer.data["check_digit"] == {"given": vin[8], "expected": expected, "required": True}
        assert answer.data["valid"] is (vin[8] == expected)
        mended = call("vin", "check", vin[:8] + expected + vin[9:], "--json")
        assert (mended.code, mended.data["valid"]) == (0, True)


def test_identify_names_articles_of_the_pack_and_believes_good_evidence(call: Call, tmp_path: Path) -> None:
    with (PACK / "articles.csv").open(newline="", encoding="utf-8") as stream:
        articles = {row["article"] for row in csv.DictReader(stream)}
    case = tmp_path / "case.json"
    case.write_text(
        '{"vehicle": {"make": "reedmace", "model": "WITHY", "year": 2015}, "observations": ['
        '{"kind": "fcc_id", "value": "FCC ID: ABC12X5", "how": "seen"},'
        '{"kind": "buttons", "value": ["lock", "unlock", "boot", "panic"], "how": "seen"},'
        '{"kind": "start", "value": "turn", "how": "told"}]}'
    )
    data = call("identify", case, "--pack", PACK, "--json").data
    assert {one["article"] for one in data["candidates"]} <= articles
    assert (data["settled"], data["order"]) == (True, "R-4")
    # The shares of this make, model, year and start are 0.9 for push: without a word the rest is unlisted.
    case.write_text('{"vehicle": {"make": "Reedmace", "model": "Withy", "year": 2015, "start": "push"}}')
    data = call("identify", case, "--pack", PACK, "--json").data
    assert data["candidates"][0]["article"] == "R-P"
    assert data["candidates"][0]["probability"] == pytest.approx(0.9, abs=0.1)
