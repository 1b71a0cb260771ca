"""A run sheet as a graph: its ways on, what can be reached, and its loops."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from bittern.engines.pairing.sheet import RunSheet, Step

# Chances are typed as decimals, and ten times 0.1 is not quite 1 in binary.
CHANCE_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class Way:
    """One way on from a step.

    Attributes
    ----------
    source, to
        Ids of the step left and of the step reached; ``to`` may name a step that does not exist.
    kind
        ``then``, ``option`` or ``fail``.
    chance
        Chance, from 0 to 1, that a visit leaves by this way.
    label
        The option's label or the failure's reason.
    """

    source: str
    to: str
    kind: str
    chance: float
    label: str = ""


def list_ways(step: Step) -> list[Way]:
    """Return the ways on from ``step`` in the order written, success first.

    A failing visit goes to one of ``fails`` by its chance, every other visit to ``then`` or to one of the
    options. Options without a chance share equally what the others leave.

    Notes
    -----
    Where the chances written are impossible (beyond 1) the result carries them as they are, clamped at 0 from
    below; :func:`bittern.engines.pairing.check.find_sheet_faults` is the judge of that.

    Examples
    --------
    >>> from bittern.engines.pairing.sheet import Failure, Step
    >>> step = Step("wake", "act", "Turn the key.", then="end", fails=(Failure("flat", 0.1),))
    >>> [(way.to, way.kind, round(way.chance, 3)) for way in list_ways(step)]
    [('end', 'then', 0.9), ('flat', 'fail', 0.1)]
    """
    works = max(0.0, 1.0 - sum(failure.chance for failure in step.fails)) if step.fails else 1.0
    if works < CHANCE_TOLERANCE:
        works = 0.0
    ways: list[Way] = []
    if step.kind == "choose":
        shares = zip(step.options, share_options(step), strict=True)
        ways += [Way(step.id, option.then, "option", works * share, option.label) for option, share in shares]
    elif step.kind != "end" and (step.then or works):
        ways.append(Way(step.id, step.then, "then", works))
    if step.kind != "end":
        ways += [Way(step.id, fail.to, "fail", fail.chance, fail.because) for fail in step.fails]
    return ways


def share_options(step: Step) -> list[float]:
    """Return each option's share of the visits that do not fail.

    That is its own chance, or an equal part of what the others leave.

    Examples
    --------
    >>> from bittern.engines.pairing.sheet import Option
    >>> options = (Option("a", "x", 0.5), Option("b", "y"), Option("c", "z"))
    >>> share_options(Step("which", "choose", "Which?", options=options))
    [0.5, 0.25, 0.25]
    """
    stated = sum(option.chance for option in step.options if option.chance is not None)
    open_options = sum(option.chance is None for option in step.options)
    rest = max(0.0, 1.0 - stated) / open_options if open_options else 0.0
    return [rest if option.chance is None else option.chance for option in step.options]


def map_ways(sheet: RunSheet) -> dict[str, list[Way]]:
    """Return the ways on from every step of ``sheet`` by the step's id."""
    return {step_id: list_ways(step) for step_id, step in sheet.steps.items()}


def link_steps(sheet: RunSheet, *, only_likely: bool = False) -> dict[str, list[str]]:
    """Return the existing steps that each step leads to, without doubles.

    Parameters
    ----------
    sheet
        The run sheet.
    only_likely
        Leave out ways whose chance is zero.
    """
    return link_ways(map_ways(sheet), only_likely=only_likely)


def link_ways(ways: Mapping[str, Sequence[Way]], *, only_likely: bool = False) -> dict[str, list[str]]:
    """Return :func:`link_steps` of a sheet whose ways are known already."""
    return {
        step_id: list(
            dict.fromkeys(way.to for way in found if way.to in ways and (way.chance > 0 or not only_likely))
        )
        for step_id, found in ways.items()
    }


def find_reached(links: Mapping[str, Iterable[str]], starts: Iterable[str]) -> set[str]:
    """Return every node that can be reached from ``starts``, themselves included where they exist."""
    waiting = [node for node in starts if node in links]
    reached = set(waiting)
    while waiting:
        for node in links[waiting.pop()]:
            if node not in reached:
                reached.add(node)
                waiting.append(node)
    return reached


def reverse_links(links: Mapping[str, Iterable[str]]) -> dict[str, list[str]]:
    """Return the same graph with every link turned round."""
    turned: dict[str, list[str]] = {node: [] for node in links}
    for node, targets in links.items():
        for target in targets:
            turned[target].append(node)
    return turned


def find_components(links: Mapping[str, Sequence[str]]) -> list[list[str]]:
    """Return the strongly connected components, each after all those it leads to.

    Notes
    -----
    Tarjan, Depth-first search and linear graph algorithms (SIAM J. Comput. 1, 1972), without recursion so
    that a long procedure cannot exhaust the stack.

    Examples
    --------
    >>> find_components({"a": ["b"], "b": ["a", "c"], "c": []})
    [['c'], ['a', 'b']]
    """
    number: dict[str, int] = {}
    low: dict[str, int] = {}
    stack: list[str] = []
    on_stack: set[str] = set()
    components: list[list[str]] = []
    for root in links:
        if root in number:
            continue
        walk = [(root, iter(links[root]))]
        number[root] = low[root] = len(number)
        stack.append(root)
        on_stack.add(root)
        while walk:
            node, targets = walk[-1]
            for target in targets:
                if target not in number:
                    number[target] = low[target] = len(number)
                    stack.append(target)
                    on_stack.add(target)
                    walk.append((target, iter(links[target])))
                    break
                if target in on_stack:
                    low[node] = min(low[node], number[target])
            else:
                walk.pop()
                if walk:
                    parent = walk[-1][0]
                    low[parent] = min(low[parent], low[node])
                if low[node] == number[node]:
                    component = [stack.pop()]
                    while component[-1] != node:
                        component.append(stack.pop())
                    on_stack.difference_update(component)
                    components.append(component[::-1])
    return components
