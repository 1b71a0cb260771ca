"""Help, options and arguments: what every command says of itself, and how it refuses misuse."""

from __future__ import annotations

import pytest

from bittern.cli.main import GROUPS, SINGLES
from tests.cli.contract.calls import CLASSIC, Call

# Every command that exists, with the arguments and options that it cannot do without.
COMMANDS: dict[str, tuple[str, ...]] = {
    "vin check": ("TEXT",),
    "vin suggest": ("TEXT",),
    "vin decode": ("TEXT",),
    "identify": ("FILE",),
    "label read": ("IMAGE",),
    "blade contour": ("--standard", "--bitting"),
    "blade chart": ("--standard", "--bitting", "--out"),
    "blade read": ("IMAGE", "--standard"),
    "blade measure": ("FILE.csv", "--standard"),
    "blade ladder": ("--standard",),
    "cut plan": ("--standard", "--bitting", "--tool", "--out"),
    "cut check": ("F.nc", "--standard", "--bitting", "--tool"),
    "cut inspect": ("IMAGE", "--standard", "--bitting"),
    "cut solid": ("--standard", "--bitting", "--out"),
    "runsheet check": ("FILE",),
    "runsheet rehearse": ("FILE",),
    "link read": ("--channel",),
    "link supply": (),
    "pack check": ("DIR",),
    "pack import": ("FILE", "--into"),
    "pack export-learnt": ("--out",),
    "job open": ("FILE", "--person"),
    "job do": ("NUMBER", "ACT", "--person"),
    "job show": ("NUMBER",),
    "job acts": (),
    "job sheet": ("NUMBER", "--out"),
    "job ladder": ("NUMBER", "--person", "--reason"),
    "log verify": (),
    "card": ("--out",),
    "demo": (),
    "serve": (),
    "setup": (),
}
WITH_JSON = [name for name in COMMANDS if name not in ("demo", "serve", "setup")]
WITH_PACK = [name for name in COMMANDS if name.split()[0] in ("vin", "identify", "label", "blade", "cut")]


def test_every_group_and_command_is_known_to_these_tests() -> None:
    assert {name.split()[0] for name in COMMANDS} == {*GROUPS, *SINGLES}


def test_help_lists_every_group_and_command(call: Call) -> None:
    top = call("--help")
    assert (top.code, top.err) == (0, "")
    assert [name for name in (*GROUPS, *SINGLES) if f"\n  {name} " not in top.out] == []
    for group in GROUPS:
        answer = call(group, "--help")
        assert (answer.code, answer.err) == (0, "")
        listed = [
            line.split()[0] for line in answer.out.split("Commands:\n")[1].splitlines() if line[2:3] > " "
        ]
        assert listed == [name.split()[1] for name in COMMANDS if name.startswith(f"{group} ")]


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_tells_its_use(call: Call, name: str) -> None:
    answer = call(*name.split(), "--help")
    assert (answer.code, answer.err) == (0, "")
    assert f"bittern {name} " in answer.out.splitlines()[0]
    assert [word for word in COMMANDS[name] if word not in answer.out] == []
    assert ("--json" in answer.out) is (name in WITH_JSON)
    assert ("--pack" in answer.out) is (name in WITH_PACK)
    # The help is for people: no markup of the reference in it.
    assert ":func:" not in answer.out
    assert "``" not in answer.out


@pytest.mark.parametrize("name", COMMANDS)
def test_unknown_options_are_refused(call: Call, name: str) -> None:
    line = call(*name.split(), "--colour", "red").refuse()
    assert "--colour" in line
    assert f"bittern {name} --help" in line


@pytest.mark.parametrize("name", [name for name, needed in COMMANDS.items() if needed])
def test_missing_arguments_and_options_are_refused_by_name(call: Call, name: str) -> None:
    line = call(*name.split()).refuse()
    assert any(word in line for word in COMMANDS[name])


@pytest.mark.parametrize(
    "name",
    [name for name in COMMANDS if name == "pack check" or name.split()[0] in ("vin", "label", "runsheet")],
)
def test_one_argument_too_many_is_refused(call: Call, name: str) -> None:
    assert "extra" in call(*name.split(), "a", "b").refuse()


@pytest.mark.parametrize("words", [(), *((group,) for group in GROUPS)], ids=" ".join)
def test_no_command_at_all_is_one_line_that_points_to_the_help(call: Call, words: tuple[str, ...]) -> None:
    assert f"see '{' '.join(('bittern', *words))} --help'" in call(*words).refuse()


@pytest.mark.parametrize("words", [("fly",), ("vin", "fly"), ("…",), ("vin", "…"), ("",), ("VIN", "check")])
def test_commands_that_do_not_exist_are_refused(call: Call, words: tuple[str, ...]) -> None:
    line = call(*words, CLASSIC).refuse()
    # The hint leads to a page that exists.
    hint = line.split("see 'bittern ")[1].split("'")[0]
    assert call(*hint.split()).code == 0


@pytest.mark.parametrize("port", ["x", "-1", "65536", "1.5", ""])
@pytest.mark.parametrize("name", ["demo", "serve"])
def test_ports_that_are_none_are_refused(call: Call, name: str, port: str) -> None:
    assert "--port" in call(name, "--port", port).refuse()


def test_the_version_is_one_line(call: Call) -> None:
    answer = call("--version")
    assert (answer.code, answer.err, answer.out.count("\n")) == (0, "", 1)
    assert answer.out.startswith("bittern ")
