"""What is written about the code holds: parameters, examples, commands."""

import ast
import doctest
import importlib
import re
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner

from battery.cli import app

ROOT = Path(__file__).resolve().parents[2]
SECTION = re.compile(r"^Parameters\n-+\n(.*?)(?=^[A-Z][\w ]*\n-+\n|\Z)", re.S | re.M)


def sources():
    return sorted(
        p for top in ("battery", "tasks", "norms") for p in (ROOT / top).rglob("*.py")
    )


def dotted(path):
    names = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(names[:-1] if names[-1] == "__init__" else names)


def described(node) -> list[str]:
    """The names a docstring lists under Parameters."""
    found = SECTION.search(ast.get_docstring(node) or "")
    if not found:
        return []
    lines = [line for line in found[1].splitlines() if line and not line.startswith(" ")]
    return [
        name.strip().lstrip("*") for line in lines for name in line.split(" : ")[0].split(",")
    ]


def taken(node) -> set[str]:
    """The names a function takes, or a class by its fields or its `__init__`."""
    if isinstance(node, ast.ClassDef):
        own = {n.target.id for n in node.body if isinstance(n, ast.AnnAssign)}
        inits = [
            n for n in node.body if isinstance(n, ast.FunctionDef) and n.name == "__init__"
        ]
        return own | {name for init in inits for name in taken(init)}
    told = node.args
    every = [*told.posonlyargs, *told.args, *told.kwonlyargs, told.vararg, told.kwarg]
    return {arg.arg for arg in every if arg is not None}


def not_taken(path):
    """Parameters that are described and not taken, with what describes them."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            if isinstance(node, ast.ClassDef) and node.bases:
                continue  # fields of a base class may be described where they are used
            for name in set(described(node)) - taken(node):
                yield f"{dotted(path)}: {node.name} takes no {name}"


def test_described_parameters_are_those_that_are_taken():
    assert len(sources()) > 400
    assert [wrong for path in sources() for wrong in not_taken(path)] == []


@pytest.mark.parametrize(
    "path", [p for p in sources() if ">>> " in p.read_text(encoding="utf-8")], ids=dotted
)
def test_examples_in_docstrings_run(path):
    found = doctest.testmod(importlib.import_module(dotted(path)))
    assert found.attempted > 0
    assert found.failed == 0


def commands():
    return [command.callback for command in app.registered_commands]


def called(callback) -> str:
    """The name a command is called by."""
    return callback.__name__.replace("_", "-")


@pytest.mark.parametrize("callback", commands(), ids=called)
def test_every_command_is_in_readme_and_its_help_shows_an_example(callback):
    name = called(callback)
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert f"`battery {name}" in readme, f"README does not name 'battery {name}'"
    shown = CliRunner().invoke(app, [name, "--help"])
    assert shown.exit_code == 0
    described = " ".join(shown.output.split("Options:")[0].split("\n", 2)[2].split())
    assert f": battery {name} " in f"{described} "  # behind "Example", or where it is run


def test_readme_names_no_command_that_is_not_there():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    known = {typer.main.get_command(app).name} | {called(c) for c in commands()}
    named = set(re.findall(r"`battery ([a-z][a-z-]+)", readme))
    assert named <= known, named - known
