"""What the pages say about what the shop has learnt."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from bittern.bench.pages.keywords import HOW_WORDS, KIND_WORDS, START_WORDS
from bittern.engines.key.error_learning import CHANNEL, LearntRate
from bittern.engines.key.index import plain_name
from bittern.engines.key.learning import OUTSIDE, LearntCell
from bittern.engines.key.rates import Rates
from bittern.work.learning import load_learnt
from bittern.work.lessons import KeptLesson
from bittern.work.people import Person
from bittern.work.ports import Desk

MOST_MOVED = 6
MOST_SHOWN = 200
NOTES_SHOWN = 20
_RATE_WORDS = {
    "foreign": "The key shown is not of the vehicle’s kind",
    "overlooked": "A button is overlooked, in number and list alike",
    "miscount": "The number of buttons is wrong otherwise",
    "missed": "A button is left out of a list otherwise",
    "imagined": "A button is named that is not there",
    "category_wrong": "The blade or the chip is named wrongly",
    "start_wrong": "Turn and push are mixed up",
    "elsewhere_fcc": "The identifier is another thing’s",
    CHANNEL: "Characters of an identifier are misread",
}


def build_learnt(desk: Desk, person: Person) -> dict[str, Any]:
    """Return the section of Packs: what moved most."""
    learnt = load_learnt(desk)
    cells = _sort_cells(learnt.shares.cells if learnt else ())
    rates = learnt.moved_rates if learnt else ()
    return {
        "jobs": learnt.jobs if learnt else 0,
        "cells": [describe_cell(desk, cell) for cell in cells[:MOST_MOVED]],
        "cells_more": max(0, len(cells) - MOST_MOVED),
        "rates": [describe_rate(one) for one in rates[:MOST_MOVED]],
        "rates_more": max(0, len(rates) - MOST_MOVED),
        "may_change": person.may("owner"),
    }


def build_all(desk: Desk, person: Person, make: str = "", model: str = "") -> dict[str, Any]:
    """Return the page of everything learnt, or of one make and model with its lessons."""
    learnt = load_learnt(desk)
    cells = _sort_cells(learnt.shares.cells if learnt else ())
    lessons = list(desk.lessons.all()) if desk.lessons else []
    context: dict[str, Any] = {
        "may_change": person.may("owner"),
        "make": make,
        "model": model,
        "floor": Rates().outside_floor,
        "unplaced": learnt.shares.unplaced if learnt else 0,
        "count": len({one.job for one in lessons if not one.taken}),
        "taken": len({one.job for one in lessons if one.taken}),
    }
    if make and model:
        name = (plain_name(make), plain_name(model))
        cells = [one for one in cells if (plain_name(one.make), plain_name(one.model)) == name]
        mine = [one for one in lessons if (plain_name(one.lesson.make), plain_name(one.lesson.model)) == name]
        jobs = _describe_jobs(mine)
        context |= {"jobs": jobs[:MOST_SHOWN], "jobs_more": max(0, len(jobs) - MOST_SHOWN)}
        context |= {
            "any_kept": any(not one.taken for one in mine),
            "any_taken": any(one.taken for one in mine),
        }
    else:
        context |= {
            "vehicles": _describe_vehicles(lessons, cells)[:MOST_SHOWN],
            "rates": [describe_rate(one) for one in (learnt.moved_rates if learnt else ())],
            "notes": list(desk.lessons.notes())[:NOTES_SHOWN] if desk.lessons else [],
            "any_kept": context["count"] > 0,
            "any_taken": context["taken"] > 0,
        }
    context["cells"] = [describe_cell(desk, cell) for cell in cells[:MOST_SHOWN]] if make and model else []
    return context


def describe_cell(desk: Desk, cell: LearntCell) -> dict[str, Any]:
    """Return one kind of vehicle in words: each article's share as listed and as learnt."""
    years = str(cell.year_from) if cell.year_from == cell.year_to else f"{cell.year_from} to {cell.year_to}"
    shares = []
    for one in sorted(cell.shares, key=lambda one: (one.article == OUTSIDE, -one.learnt)):
        low, high = one.interval
        article = desk.pack.articles.get(one.article)
        shares.append(
            {
                "article": one.article,
                "title": article.title if article else "Something not in this pack",
                "listed": one.listed,
                "learnt": one.learnt,
                "low": low,
                "high": high,
                "fitted": one.fitted,
                "refused": one.refused,
                "own": one.article != OUTSIDE and one.listed <= 0.0,
            }
        )
    return {
        "make": cell.make,
        "model": cell.model,
        "years": years,
        "start": START_WORDS.get(cell.start, cell.start),
        "jobs": cell.jobs,
        "shares": shares,
    }


def describe_rate(one: LearntRate) -> dict[str, Any]:
    """Return one error rate in words, with its doubt."""
    word = _RATE_WORDS.get(one.name, "")
    if one.name.startswith("null:"):
        _, kind, has = one.name.split(":")
        where = "" if has == "has" else ", on a key that has none"
        word = f"“{KIND_WORDS.get(kind, kind)}” is asked and cannot be had{where}"
    return {
        "word": word or one.name,
        "how": HOW_WORDS.get(one.how, one.how),
        "factor": one.name == CHANNEL,
        "assumed": one.assumed,
        "learnt": one.learnt,
        "low": one.low,
        "high": one.high,
        "cases": one.cases,
    }


def _sort_cells(cells: Sequence[LearntCell]) -> list[LearntCell]:
    return sorted(cells, key=lambda one: (-one.moved, one.make, one.model, one.year_from, one.start))


def _describe_vehicles(lessons: Sequence[KeptLesson], cells: Sequence[LearntCell]) -> list[dict[str, object]]:
    """Return make and model with the number of jobs, most moved first."""
    jobs: dict[tuple[str, str], set[int]] = defaultdict(set)
    taken: dict[tuple[str, str], set[int]] = defaultdict(set)
    names: dict[tuple[str, str], tuple[str, str]] = {}
    for one in lessons:
        key = (plain_name(one.lesson.make), plain_name(one.lesson.model))
        (taken if one.taken else jobs)[key].add(one.job)
        names.setdefault(key, (one.lesson.make, one.lesson.model))
    moved: dict[tuple[str, str], float] = defaultdict(float)
    for cell in cells:
        key = (plain_name(cell.make), plain_name(cell.model))
        moved[key] = max(moved[key], cell.moved)
    return [
        {
            "make": names[key][0],
            "model": names[key][1],
            "jobs": len(jobs[key]),
            "taken": len(taken[key]),
            "moved": moved[key],
        }
        for key in sorted(names, key=lambda key: (-moved[key], key))
    ]


def _describe_jobs(lessons: Sequence[KeptLesson]) -> list[dict[str, Any]]:
    """Return one line a job, newest first."""
    by_job: dict[int, list[KeptLesson]] = defaultdict(list)
    for one in lessons:
        by_job[one.job].append(one)
    lines = []
    for number in sorted(by_job, reverse=True):
        these = by_job[number]
        truth = next((one.lesson for one in these if one.lesson.outcome == "fitted"), these[0].lesson)
        lines.append(
            {
                "job": number,
                "day": truth.day,
                "year": truth.year,
                "article": truth.article if truth.outcome == "fitted" else "",
                "refused": [one.lesson.article for one in these if one.lesson.outcome == "wrong"],
                "taken": all(one.taken for one in these),
            }
        )
    return lines
