"""Writes the generated pages of docs/reference from the code: commands, acts, errors, settings.

Run in the environment: ``.venv/bin/python scripts/make_reference.py``. A test compares the committed pages
with what this would write, so a command, an error code or a setting without documentation cannot stand.
"""

from __future__ import annotations

import importlib
import inspect
import re
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parent.parent
REFERENCE = ROOT / "docs" / "reference"
NOTE = "<!-- Written by scripts/make_reference.py from the code; change it there. -->\n\n"


def write_commands() -> str:
    """Return the page of commands: every command with its arguments, options and help."""
    from typer.main import get_command

    from bittern.cli.main import GROUPS, SINGLES, build_app

    page = [
        "# Commands\n",
        "`bittern COMMAND … [--json]`. With `--json` one JSON object goes to standard output and nothing\n"
        "else does; messages and progress go to standard error.\n",
        "| exit code | meaning |\n|---|---|\n"
        "| 0 | done |\n"
        '| 1 | done, and the answer is a "no": not valid, out of tolerance, faults found |\n'
        "| 2 | bad usage or input that cannot be read; one line on standard error says what was expected |\n",
    ]
    for name in sorted([*GROUPS, *SINGLES]):
        # One command at a time is loaded in full: that is how the command line itself does it.
        root: Any = get_command(build_app(name))
        page += _describe(root.commands[name], f"bittern {name}")
    return NOTE + "\n".join(page)


def _describe(command: Any, path: str) -> Iterator[str]:
    text = inspect.cleandoc(command.help or "")
    if hasattr(command, "commands"):
        yield f"## {path}\n\n{text}\n"
        for name, inner in sorted(command.commands.items()):
            yield from _describe(inner, f"{path} {name}")
        return
    arguments = [parameter for parameter in command.params if not parameter.opts[0].startswith("-")]
    options = [
        parameter for parameter in command.params if parameter not in arguments and not parameter.hidden
    ]
    words = [path, *(_write_use(parameter) for parameter in (*arguments, *options))]
    level = "##" if path.count(" ") == 1 else "###"
    yield f"{level} {path}\n\n{text}\n\n```\n{' '.join(words)}\n```\n"
    if command.params:
        rows = [_write_row(parameter) for parameter in (*arguments, *options)]
        yield "| | | default |\n|---|---|---|\n" + "".join(rows)


def _write_value(parameter: Any) -> str:
    return parameter.metavar.strip("[]") if parameter.metavar else parameter.name.upper()


def _write_name(parameter: Any) -> str:
    if not parameter.opts[0].startswith("-"):
        return _write_value(parameter)
    value = "" if parameter.is_flag else f" {_write_value(parameter)}"
    return ", ".join([*parameter.opts, *parameter.secondary_opts]) + value


def _write_use(parameter: Any) -> str:
    name = _write_name(parameter) + (" …" if parameter.nargs != 1 else "")
    return name if parameter.required else f"[{name}]"


def _write_row(parameter: Any) -> str:
    default = parameter.default
    if parameter.required:
        shown = "required"
    elif default is None or default == "" or default is False:
        shown = ""
    else:
        shown = f"`{getattr(default, 'value', default)}`"
    text = [" ".join((parameter.help or "").split())]
    if parameter.min is not None or parameter.max is not None:
        ends = ("" if end is None else f"{end:g}" for end in (parameter.min, parameter.max))
        text.append("From {} to {}.".format(*ends))
    if getattr(parameter, "multiple", False):
        text.append("May be given more than once.")
    if parameter.envvar:
        text.append(f"Also by the environment: `{parameter.envvar}`.")
    cell = " ".join(filter(None, text)).replace("|", "\\|")
    return f"| `{_write_name(parameter)}` | {cell} | {shown} |\n"


def find_errors() -> list[type[Any]]:
    """Return every class of the error tree, by code."""
    from bittern.core.errors import BitternError

    source = ROOT / "src" / "bittern"
    for path in sorted(source.rglob("*.py")):
        inside = path.relative_to(source)
        # The bench's other modules need a running Django; its errors are in errors.py alone.
        if inside.parts[0] not in ("bench", "cli", "__main__.py") or inside.name == "errors.py":
            parts = path.relative_to(ROOT / "src").with_suffix("").parts
            importlib.import_module(".".join(parts).removesuffix(".__init__"))

    def walk(kind: type[Any]) -> Iterator[type[Any]]:
        yield kind
        for inner in kind.__subclasses__():
            yield from walk(inner)

    ours = {kind for kind in walk(BitternError) if kind.__module__.startswith("bittern.")}
    return sorted(ours, key=lambda kind: (kind.code, kind.__name__))


def write_errors() -> str:
    """Return the page of error codes with their meanings."""
    rows = [f"| `{kind.code}` | {kind.meaning} | `{kind.__module__}` |\n" for kind in find_errors()]
    return (
        NOTE
        + "# Errors\n\n"
        + "The same error is one line on standard error (also under `--json`), one sentence beside the\n"
        + "field on the screen, and in the library `error.as_dict()`: `code, where, found, expected, hint`,\n"
        + "and `faults` where there are several. A code keeps its meaning for good.\n\n"
        + "| code | meaning | module |\n|---|---|---|\n"
        + "".join(rows)
    )


def write_settings() -> str:
    """Return the page of settings, as the settings themselves write it."""
    from bittern.bench.options import write_page

    return write_page()


# What stands in a docstring for machines: :func:`name` and ``name``.
MARKUP = re.compile(r":\w+:`~?\.?([\w.]+)`|``([^`]+)``")
REFERENCES = re.compile(r":func:`([\w.]+)`")
ABILITY = re.compile(r"\b(?:changing\([^)]*|require\([^)]*), \"(\w+)\"\)")


def write_acts() -> str:
    """Return the page of acts on a job: leg, roles, and fields as the act itself describes them."""
    from bittern.work import request
    from bittern.work.actions import ACTS
    from bittern.work.legs import TITLES

    page = [
        "# Acts on a job\n",
        "The same acts by the bench's forms and by `bittern job do NUMBER ACT FILE`, where the file holds\n"
        'the fields as one JSON object. A tick is `"yes"` or `true`; a list is a JSON list. What each act\n'
        "needs before it: [how a job works](../explanation/work.md).\n",
        f"`bittern job open FILE` ({_name_roles(request.open_job)}): {_read_fields(request.open_job)}\n",
    ]
    for leg in TITLES:
        rows = [
            f"| `{name}` | {_name_roles(act)} | {_read_fields(act)} |\n"
            for name, (place, act) in ACTS.items()
            if place == leg
        ]
        page.append(
            f"## {TITLES[leg][0]}\n\n| act | who | what, and its fields |\n|---|---|---|\n" + "".join(rows)
        )
    page.append("## Words that fields take\n\n| field | words |\n|---|---|\n" + "".join(_list_words()))
    return NOTE + "\n".join(page)


def _name_roles(act: Callable[..., Any]) -> str:
    from bittern.work.people import ABILITIES, ROLES

    found = set(ABILITY.findall(inspect.getsource(act)))
    if len(found) != 1:
        raise ValueError(f"{act.__name__}: found abilities {sorted(found)}, expected one")
    allowed = ABILITIES[found.pop()]
    return ", ".join(role for role in ROLES if role in allowed)


def _read_fields(act: Callable[..., Any]) -> str:
    """Return the docstring's text without its sections, and that of each function it refers to."""
    text = inspect.getdoc(act) or ""
    body = " ".join(re.split(r"\n\w+\n-+\n", text)[0].split())
    module = sys.modules[act.__module__]
    for name in REFERENCES.findall(body):
        there = inspect.getdoc(getattr(module, name)) or ""
        body += f" ({name}: {there.splitlines()[0]})"
    return MARKUP.sub(lambda match: f"`{match[1] or match[2]}`", body).replace("|", "\\|")


def _list_words() -> Iterator[str]:
    """Yield a row for each field whose words are fixed."""
    from bittern.engines.key.catalogue import STARTS
    from bittern.engines.key.evidence import HOWS, KINDS
    from bittern.work import blade, documents, pairing, promise, request

    words = {
        "`want`": request.WANTS,
        "`documents` (list)": documents.DOCUMENTS,
        "`start`": STARTS,
        "`kind` of `observe`": KINDS,
        "`how`": HOWS,
        "`accepted_how`": promise.ANSWERS,
        "`result` of `record-inspection`": blade.RESULTS,
        "`key-N-worked`": pairing.WORKED,
        "`kind` of `pairing-event`": pairing.KINDS,
        "`result` of `answer-test`": ("passed", "failed"),
    }
    for field, options in words.items():
        yield f"| {field} | {', '.join(f'`{option}`' for option in options)} |\n"


SHELVES = {
    "tutorial": "**Tutorial**, to learn it by doing:",
    "how-to": "**How to**, for a task at hand:",
    "reference": "**Reference**, what there is:",
    "explanation": "**Explanation**, the models, their derivations and limits:",
    "decisions": "**Decisions**, the costly choices and why:",
}


def write_index() -> str:
    """Return the index of the documentation: every page by its title."""
    page = NOTE + "# Bittern's documentation\n"
    for folder, head in SHELVES.items():
        files = sorted((ROOT / "docs" / folder).glob("*.md"))
        if files:
            lines = [f"- [{read_title(file)}]({folder}/{file.name})\n" for file in files]
            page += f"\n{head}\n\n" + "".join(lines)
    return page


def read_title(file: Path) -> str:
    """Return the heading of a page."""
    lines = file.read_text(encoding="utf-8").splitlines()
    return next(line.removeprefix("# ") for line in lines if line.startswith("# "))


# The index last: it reads the titles of the others.
PAGES: dict[str, Callable[[], str]] = {
    "commands.md": write_commands,
    "job-acts.md": write_acts,
    "errors.md": write_errors,
    "settings.md": write_settings,
    "../index.md": write_index,
}


def main() -> None:
    """Write every page."""
    REFERENCE.mkdir(parents=True, exist_ok=True)
    for name, write in PAGES.items():
        (REFERENCE / name).write_text(write(), encoding="utf-8")
        print((REFERENCE / name).resolve().relative_to(ROOT))


if __name__ == "__main__":
    main()
