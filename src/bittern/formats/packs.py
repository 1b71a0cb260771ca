"""A pack: a folder of catalogue data (docs/how-to/packs.md), read in one go or not at all.

Two ways to fail, and nothing between: :class:`~bittern.core.errors.InputError` for a folder or file that
cannot be read (the first one ends it), :class:`~bittern.core.errors.FaultsError` with every fault of every
file for content that breaks the rules. No part of a pack is ever returned without the rest.
"""

from __future__ import annotations

import re
import shutil
import tempfile
from array import array
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, fields
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from bittern.core.errors import Fault, FaultsError, InputError
from bittern.engines.blade.standard import BladeStandard
from bittern.engines.cutting.cutter import Cutter
from bittern.engines.key.catalogue import Article, Catalogue, Fitment
from bittern.engines.key.fitments import FitmentDraft, FitmentTable
from bittern.engines.pairing.sheet import RunSheet
from bittern.engines.vehicle.decode import gather_spans
from bittern.engines.vehicle.pattern import NumberPattern
from bittern.formats.blades import format_blade, parse_blade
from bittern.formats.pack_checks import find_article_faults, find_fitment_faults
from bittern.formats.pack_tables import (
    format_articles,
    format_fitments,
    format_numbers,
    read_articles,
    read_fitments,
    read_numbers,
)
from bittern.formats.runsheets import parse_runsheet, write_runsheet
from bittern.formats.texts import read_text
from bittern.formats.toml_files import ID_EXPECTED, ID_FORM, TomlTable, parse_toml
from bittern.formats.tools import format_tool, parse_tool

if TYPE_CHECKING:
    from bittern.engines.key.index import KeyIndex

HEAD = "pack.toml"
ARTICLES = "articles.csv"
FITMENTS = "fitments.csv"
NUMBERS = "numbers.csv"
BLADES = "blades"
TOOLS = "tools"
RUNSHEETS = "runsheets"
HEAD_KEYS = ("id", "title", "version", "licence", "source", "region", "currency")
FILES_LIMIT = 5_000
"""Most TOML files in one folder of a pack."""
COUNTED = re.compile(r"button-[0-9]+", re.ASCII)
"""A button of which no more is known than that it is there."""
CURRENCY = re.compile(r"[A-Z]{3}", re.ASCII)
"""ISO 4217 alphabetic code, by its form."""

_T = TypeVar("_T", BladeStandard, Cutter, RunSheet)


@dataclass(frozen=True)
class Pack:
    """Everything in one pack's folder; mappings are by id."""

    id: str
    title: str
    version: str
    licence: str
    source: str
    region: str
    currency: str
    articles: Mapping[str, Article] = field(default_factory=dict)
    fitments: Sequence[Fitment] = ()
    blades: Mapping[str, BladeStandard] = field(default_factory=dict)
    tools: Mapping[str, Cutter] = field(default_factory=dict)
    runsheets: Mapping[str, RunSheet] = field(default_factory=dict)
    numbers: tuple[NumberPattern, ...] = ()

    @cached_property
    def catalogue(self) -> Catalogue:
        """The articles and fitments, as the key engine takes them."""
        return Catalogue(self.articles, self.fitments)

    @cached_property
    def key_index(self) -> KeyIndex:
        """The catalogue laid out for the key engine; it takes longer to build than to use."""
        # Brings numpy, which reading a pack does without.
        from bittern.engines.key.index import KeyIndex

        return KeyIndex(self.catalogue)

    @cached_property
    def spans(self) -> Mapping[tuple[str, str], tuple[int, int]]:
        """First and last model year by make and model, as the fitments list them."""
        return gather_spans(FitmentTable.of(self.fitments).spans())

    @cached_property
    def models(self) -> Mapping[str, tuple[str, ...]]:
        """The models of every make, makes and models in order."""
        found: dict[str, set[str]] = {}
        for make, model in self.spans:
            found.setdefault(make, set()).add(model)
        return {make: tuple(sorted(found[make])) for make in sorted(found)}

    @cached_property
    def button_words(self) -> tuple[str, ...]:
        """Every button's word of the articles, in order; numbered ones, which were only counted, left out."""
        words = {word for article in self.articles.values() for word in article.buttons}
        return tuple(sorted(word for word in words if not COUNTED.fullmatch(word)))

    @cached_property
    def chips(self) -> tuple[str, ...]:
        """Every chip of the articles, in order."""
        return tuple(sorted({article.chip for article in self.articles.values() if article.chip}))


@dataclass(frozen=True)
class PackReport:
    """The answer of :func:`check_pack`: every fault, and how many of each thing the files hold."""

    ok: bool
    faults: tuple[Fault, ...]
    counts: Mapping[str, int]

    def as_dict(self) -> dict[str, object]:
        """Return the fixed JSON shape."""
        faults = [fault.as_dict() for fault in self.faults]
        return {"ok": self.ok, "faults": faults, "counts": dict(self.counts)}


def read_pack(folder: Path | str) -> Pack:
    """Return the pack in ``folder``.

    Raises
    ------
    InputError
        The folder, or a file in it, cannot be read: missing, too large, no text, no TOML, no CSV, or a link
        that leads out of the folder.
    FaultsError
        The content breaks the rules; every fault of every file is listed.
    """
    pack, report = _load(Path(folder))
    if not report.ok:
        raise FaultsError(
            report.faults, where=str(folder), hint=f"'bittern pack check {folder}' lists them all"
        )
    return pack


def check_pack(folder: Path | str) -> PackReport:
    """Return every fault of the pack in ``folder`` and its counts; ``InputError`` as :func:`read_pack`."""
    return _load(Path(folder))[1]


def write_pack(pack: Pack, folder: Path | str, *, replace: bool = False) -> None:
    """Write ``pack`` as a folder that :func:`read_pack` reads back as the same pack.

    It is written beside its place, read back and compared, and only then put there, so that a pack with
    faults leaves no trace.

    Parameters
    ----------
    replace
        Put the files in place of those of the pack that stands there; other files in the folder stay.

    Raises
    ------
    InputError
        The folder has something in it and ``replace`` is false, or it cannot be written.
    FaultsError
        The pack breaks the rules of its format.
    """
    folder = Path(folder)
    texts = _format_files(pack)
    try:
        if folder.exists() and not replace and (not folder.is_dir() or any(folder.iterdir())):
            raise InputError("something already there", "a new or empty folder", where=str(folder))
        folder.parent.mkdir(parents=True, exist_ok=True)
        desk = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        try:
            fresh = desk / "pack"
            for file, text in texts.items():
                path = fresh / file
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_bytes(text.encode())
            _check_same(pack, read_pack(fresh))
            _put_in_place(fresh, folder, tuple(texts))
        finally:
            shutil.rmtree(desk)
    except OSError as error:
        raise InputError(
            f"a folder that cannot be written ({error})", "a place for a pack", where=str(folder)
        ) from error


def _format_files(pack: Pack) -> dict[str, str]:
    """Return the text of every file of the pack by its place in the folder."""
    import tomli_w

    faults = [
        Fault("id", repr(thing_id), ID_EXPECTED, name)
        for name, things in ((BLADES, pack.blades), (TOOLS, pack.tools), (RUNSHEETS, pack.runsheets))
        for thing_id in things
        if not ID_FORM.fullmatch(thing_id)
    ]
    if faults:
        # These would become file names: nothing is written under a name that leads elsewhere.
        raise FaultsError(faults)
    head = {key: getattr(pack, key) for key in HEAD_KEYS}
    texts = {
        HEAD: tomli_w.dumps(head),
        ARTICLES: format_articles(pack.articles.values()),
        FITMENTS: format_fitments(pack.fitments),
    }
    if pack.numbers:
        texts[NUMBERS] = format_numbers(pack.numbers)
    texts |= {f"{BLADES}/{name}.toml": format_blade(blade) for name, blade in pack.blades.items()}
    texts |= {f"{TOOLS}/{name}.toml": format_tool(tool) for name, tool in pack.tools.items()}
    texts |= {f"{RUNSHEETS}/{name}.toml": write_runsheet(sheet) for name, sheet in pack.runsheets.items()}
    return texts


def _check_same(pack: Pack, written: Pack) -> None:
    faults = [
        Fault(part.name, "values that would not read back the same", "values that the format can hold")
        for part in fields(pack)
        if getattr(pack, part.name) != getattr(written, part.name)
    ]
    if faults:
        raise FaultsError(faults)


def _put_in_place(fresh: Path, folder: Path, files: tuple[str, ...]) -> None:
    if not folder.exists() or not any(folder.iterdir()):
        fresh.replace(folder)
        return
    for name in (BLADES, TOOLS, RUNSHEETS):
        if (folder / name).is_symlink():
            raise InputError("a link", "a folder of the pack itself", where=str(folder / name))
    old = [folder / name for name in (HEAD, ARTICLES, FITMENTS, NUMBERS)]
    old += [path for name in (BLADES, TOOLS, RUNSHEETS) for path in (folder / name).glob("*.toml")]
    for path in old:
        if path.relative_to(folder).as_posix() not in files:
            path.unlink(missing_ok=True)
    for file in files:
        (folder / file).parent.mkdir(exist_ok=True)
        (fresh / file).replace(folder / file)


def _load(folder: Path) -> tuple[Pack, PackReport]:
    """Read all files. The pack returned is whole only if the report says so."""
    _check_folder(folder)
    faults: list[Fault] = []
    head = TomlTable(parse_toml(read_text(folder / HEAD, inside=folder), HEAD), HEAD, faults)
    keys = {"id": head.identifier("id")}
    keys |= {key: head.text(key) for key in HEAD_KEYS[1:-1]}
    keys["currency"] = _read_currency(head)
    counts = dict.fromkeys(("articles", "fitments", "blades", "tools", "runsheets", "numbers"), 0)
    blades, blade_ids, counts["blades"] = _read_folder(
        folder, BLADES, parse_blade, _find_blade_faults, faults
    )
    tools, _, counts["tools"] = _read_folder(folder, TOOLS, parse_tool, _find_tool_faults, faults)
    sheets, sheet_ids, counts["runsheets"] = _read_folder(
        folder, RUNSHEETS, parse_runsheet, _find_sheet_faults, faults
    )
    articles: dict[str, Article] = {}
    article_rows: dict[str, int] = {}
    fitments = FitmentTable(FitmentDraft())
    rows = array("i")
    numbers: list[NumberPattern] = []
    if _is_there(folder, ARTICLES, faults):
        articles, article_rows, counts["articles"] = read_articles(
            folder / ARTICLES, ARTICLES, faults, folder
        )
        faults += find_article_faults(articles, article_rows, blade_ids, ARTICLES)
    if _is_there(folder, FITMENTS, faults):
        fitments, rows, counts["fitments"] = read_fitments(folder / FITMENTS, FITMENTS, faults, folder)
        faults += find_fitment_faults(fitments, rows, article_rows, sheet_ids, FITMENTS)
    if _stands(folder / NUMBERS):
        numbers, counts["numbers"] = read_numbers(folder / NUMBERS, NUMBERS, faults, folder)
    pack = Pack(
        **keys,
        articles=articles,
        fitments=fitments,
        blades=blades,
        tools=tools,
        runsheets=sheets,
        numbers=tuple(numbers),
    )
    return pack, PackReport(not faults, tuple(faults), counts)


def _check_folder(folder: Path) -> None:
    try:
        if folder.is_dir():
            if (folder / HEAD).exists():
                return
            found, expected = f"a folder without {HEAD}", f"a pack: a folder with {HEAD} in it"
        else:
            found = "a file" if folder.exists() else "no such folder"
            expected = "a pack's folder"
    except (OSError, ValueError) as error:
        raise InputError(
            f"a name that cannot be reached ({error})", "a pack's folder", where=str(folder)
        ) from error
    raise InputError(found, expected, where=str(folder))


def _read_currency(head: TomlTable) -> str:
    value = head.text("currency")
    if value and not CURRENCY.fullmatch(value):
        head.note("currency", repr(value), "three capitals as in ISO 4217, such as EUR")
    return value


def _is_there(folder: Path, file: str, faults: list[Fault]) -> bool:
    if _stands(folder / file):
        return True
    faults.append(Fault("the file", "no such file", "a table, if only with its header", file))
    return False


def _stands(path: Path) -> bool:
    """Say whether something of this name is there, be it a link that leads nowhere."""
    return path.exists() or path.is_symlink()


def _read_folder(
    folder: Path,
    name: str,
    parse: Callable[[str, str], _T],
    find_faults: Callable[[_T], list[Fault]],
    faults: list[Fault],
) -> tuple[dict[str, _T], set[str], int]:
    """Return what ``folder/name/*.toml`` hold, by id, every id that a file has or is named by, the count."""
    things: dict[str, _T] = {}
    names: set[str] = set()
    files = _list_files(folder, name)
    for path in files:
        file = f"{name}/{path.name}"
        if not ID_FORM.fullmatch(path.stem):
            faults.append(Fault("the file's name", repr(path.stem), ID_EXPECTED, file))
        names.add(path.stem)
        try:
            thing = parse(read_text(path, inside=folder), file)
        except FaultsError as error:
            faults += error.faults
            continue
        # The name alone is at fault then, not everything that speaks of the id.
        names.add(thing.id)
        if thing.id != path.stem:
            faults.append(Fault("id", repr(thing.id), f"{path.stem!r}, as the file is named", file))
        faults += [
            Fault(fault.where, fault.found, fault.expected, fault.file or file)
            for fault in find_faults(thing)
        ]
        things[thing.id] = thing
    return things, names, len(files)


def _list_files(folder: Path, name: str) -> list[Path]:
    place = folder / name
    if not _stands(place):
        return []
    try:
        if not place.resolve(strict=True).is_relative_to(folder.resolve(strict=True)):
            raise InputError("a link that leads out of the pack", "a folder inside it", where=str(place))
        if not place.is_dir():
            raise InputError("something that is not a folder", f"a folder of {name}", where=str(place))
        files = sorted(path for path in place.iterdir() if path.suffix == ".toml")
    except (OSError, RuntimeError) as error:
        raise InputError(
            f"a folder that cannot be read ({error})", f"a folder of {name}", where=str(place)
        ) from error
    if len(files) > FILES_LIMIT:
        raise InputError(f"{len(files):,} files", f"at most {FILES_LIMIT:,} files", where=str(place))
    return files


def _find_blade_faults(standard: BladeStandard) -> list[Fault]:
    from bittern.engines.blade.soundness import find_standard_faults

    return find_standard_faults(standard)


def _find_tool_faults(cutter: Cutter) -> list[Fault]:
    from bittern.engines.cutting.fitting import find_cutter_faults

    return find_cutter_faults(cutter)


def _find_sheet_faults(sheet: RunSheet) -> list[Fault]:
    from bittern.engines.pairing.check import find_sheet_faults

    return find_sheet_faults(sheet)
