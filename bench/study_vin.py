"""How often the number that was meant is found, and whether the stated probabilities can be believed.

Numbers are drawn from the public data's makers, right in form and check digit, and written down by the
character channel's own rules of error. Half of those from outside North America are then given another
character at position 9, for not every maker there follows the rule. Only texts that are wrong or whose check
digit disagrees count: the others are not asked about.

Each text is weighed twice: as the bench does, which keeps something back for makers that the data lack and
for numbers that do not fit them, and without this reserve, for none of the numbers drawn is such. The second
tells whether the sums are right; the first, how much the reserve costs where it is not needed.
"""

from __future__ import annotations

import math
import random
from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from functools import partial

import ultravin

from bittern.core.channel import CHANNEL_BY_HOW, ChannelRates, p_written
from bittern.data import vpic
from bittern.engines.vehicle.number import NORTH_AMERICA, VIN_ALPHABET, check_vin
from bittern.engines.vehicle.suggestion import NumberPosterior, SuggestionPriors, weigh_numbers

HOWS = ("told", "read-aloud", "seen", "photographed")
CASES = 200
SEED = 565
CLOCK = datetime(2026, 6, 1)
"""The instant whose public data hold, so that the table is the same tomorrow."""
NO_RESERVE = SuggestionPriors(unknown_maker=1e-6, misfit=1e-6)
"""The priors of the numbers drawn here: all have a maker in the data and fit what it reported."""


def _make_tenths() -> defaultdict[int, list[tuple[float, bool]]]:
    return defaultdict(list)


@dataclass(slots=True)
class Score:
    """What came out for one way of getting numbers, or for all."""

    cases: int = 0
    first: int = 0
    first_three: int = 0
    stated: float = 0.0
    missed: int = 0
    stated_none: float = 0.0
    by_tenth: dict[int, list[tuple[float, bool]]] = field(default_factory=_make_tenths)

    def add(self, truth: str, found: NumberPosterior) -> None:
        """Count one case; of each answer the three best count for the reliability."""
        vins = [one.vin for one in found.suggestions]
        self.cases += 1
        self.first += vins[:1] == [truth]
        self.first_three += truth in vins[:3]
        self.missed += truth not in vins
        self.stated += found.suggestions[0].probability if vins else 0.0
        self.stated_none += found.p_none
        for one in found.suggestions[:3]:
            self.by_tenth[min(9, int(10 * one.probability))].append((one.probability, one.vin == truth))


def make_numbers(count: int, seed: int = SEED) -> list[str]:
    """Return true numbers; half of those that need no check digit have none."""
    draw = random.Random(seed)
    numbers = []
    for vin in ultravin.generate(count, seed=seed, invalid_rate=0.0, now=CLOCK):
        own = vin[0] not in NORTH_AMERICA and draw.random() < 0.5
        numbers.append(vin[:8] + draw.choice(VIN_ALPHABET) + vin[9:] if own else vin)
    return numbers


def write_down(truth: str, rates: ChannelRates, draw: random.Random) -> str:
    """Return ``truth`` as it reaches us: each choice of the channel drawn in turn."""
    n = len(truth)
    start = draw.randrange(1, n) if draw.random() < rates.start_lost else 0
    end = draw.randrange(1, n) if draw.random() < rates.end_lost else n
    symbols: list[str] = []
    swapped, i = False, start
    while i < end:
        while draw.random() < rates.inserted:
            symbols.append(draw.choice(rates.alphabet))
        chance = draw.random()
        if chance < rates.lost:
            i += 1
        elif chance < rates.lost + rates.doubled:
            symbols += truth[i] * 2
            i += 1
        elif chance < rates.lost + rates.doubled + rates.swapped and i + 1 < n and not swapped:
            symbols += truth[i + 1] + truth[i]
            swapped, i = True, i + 2
        else:
            written = p_written(truth[i], rates)
            symbols += draw.choices(rates.alphabet, [written[c] for c in rates.alphabet])
            i += 1
    return "".join(symbols)


def is_doubtful(text: str) -> bool:
    """Say whether the bench would ask about the text."""
    report = check_vin(text)
    return not (report.valid and report.check_digit.agrees)


def run_study(
    hows: Sequence[str] = HOWS,
    cases: int = CASES,
    seed: int = SEED,
    priors: SuggestionPriors | None = None,
) -> dict[str, Score]:
    """Return the scores by way of getting the number, for ``cases`` doubtful texts each."""
    makers, fitting = vpic.known_wmis(), partial(vpic.fitting, now=CLOCK)
    scores = {}
    for how in hows:
        place = HOWS.index(how)
        draw, score = random.Random(seed + place), Score()
        numbers = make_numbers(60 * cases, seed + place)
        draw.shuffle(numbers)
        for truth in numbers:
            text = write_down(truth, CHANNEL_BY_HOW[how], draw)
            if text and is_doubtful(text) and 15 <= len(text) <= 19:
                rates = CHANNEL_BY_HOW[how]
                found = weigh_numbers(text, makers, rates=rates, fitting=fitting, priors=priors)
                score.add(truth, found)
            if score.cases == cases:
                break
        scores[how] = score
    return scores


def find_interval(hits: int, cases: int) -> tuple[float, float]:
    """Return Wilson's 95 % interval of a share.

    E. B. Wilson, Probable inference, the law of succession, and statistical inference, Journal of the
    American Statistical Association 22 (1927), 209-212.
    """
    z, share = 1.959964, hits / cases
    middle = (share + z * z / (2 * cases)) / (1 + z * z / cases)
    half = z * math.sqrt(share * (1 - share) / cases + (z / (2 * cases)) ** 2) / (1 + z * z / cases)
    return middle - half, middle + half


def show_share(hits: int, cases: int) -> str:
    """Return a share with its interval."""
    low, high = find_interval(hits, cases)
    return f"{hits / cases:.1%} ({100 * low:.0f} to {100 * high:.0f})"


def show(scores: dict[str, Score]) -> str:
    """Return both tables, shares with their 95 % intervals."""
    lines = ["| how it came | texts | first is right | stated | in first three | not listed | stated |"]
    lines.append("|---|---|---|---|---|---|---|")
    for how, one in scores.items():
        n = one.cases
        lines.append(
            f"| {how} | {n} | {show_share(one.first, n)} | {one.stated / n:.1%} | {one.first_three / n:.1%} "
            f"| {show_share(one.missed, n)} | {one.stated_none / n:.1%} |"
        )
    lines += ["", "| stated | answers | mean | true |", "|---|---|---|---|"]
    for tenth in range(10):
        held = [case for one in scores.values() for case in one.by_tenth[tenth]]
        if held:
            mean, hits = sum(p for p, _ in held) / len(held), sum(hit for _, hit in held)
            band = f"{10 * tenth} to {10 * tenth + 10} %"
            lines.append(f"| {band} | {len(held)} | {mean:.1%} | {show_share(hits, len(held))} |")
    return "\n".join(lines)


def main() -> None:
    """Print the tables."""
    print("Numbers of the public data's makers, written down with errors; texts of 15 to 19 characters that")
    print(f"are not valid or whose check digit disagrees, {CASES} for each way; seed {SEED}.")
    with ProcessPoolExecutor(max_workers=2) as pool:
        runs = [
            (title, [pool.submit(run_study, (how,), priors=priors) for how in HOWS])
            for title, priors in (("As the bench weighs them:", None), ("Without the reserve:", NO_RESERVE))
        ]
        for title, parts in runs:
            print(f"\n{title}\n", flush=True)
            print(show({how: score for part in parts for how, score in part.result().items()}), flush=True)


if __name__ == "__main__":
    main()
