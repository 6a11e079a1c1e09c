"""Help, README and docstrings say what there is."""

from __future__ import annotations

import ast
import re
from pathlib import Path

import pytest

from interlock.cli.main import COMMANDS, run

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
FILES = sorted((ROOT / "interlock").rglob("*.py"))


@pytest.mark.parametrize("command", COMMANDS)
def test_help_and_readme_have_every_command(
    command: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run([command, "--help"]) == 0
    assert len(capsys.readouterr().out.splitlines()) > 3
    assert f"interlock {command}" in README


def test_the_readme_has_two_setup_commands() -> None:
    blocks = re.findall(r"```sh\n(.*?)```", README, re.DOTALL)
    lines = [line for block in blocks for line in block.splitlines()]
    assert sum(line.startswith("python3 -m venv") for line in lines) == 2


@pytest.mark.parametrize("link", sorted(set(re.findall(r"\]\(([^)#:]+)\)", README))))
def test_the_readme_links_to_files_that_exist(link: str) -> None:
    assert (ROOT / link).exists()


@pytest.mark.parametrize("file", FILES, ids=lambda f: str(f.relative_to(ROOT)))
def test_everything_public_has_a_docstring(file: Path) -> None:
    tree = ast.parse(file.read_text(encoding="utf-8"))
    assert ast.get_docstring(tree), f"{file} says not what it is"
    missing = []
    for node in tree.body:
        if not isinstance(node, ast.ClassDef | ast.FunctionDef) or node.name.startswith("_"):
            continue
        inner = [node]
        if isinstance(node, ast.ClassDef):
            inner += [n for n in node.body if isinstance(n, ast.FunctionDef) and n.name[0] != "_"]
        missing += [n.name for n in inner if not ast.get_docstring(n)]
    assert not missing, f"{file.name}: {missing}"


@pytest.mark.parametrize("file", FILES, ids=lambda f: str(f.relative_to(ROOT)))
def test_files_and_functions_stay_small(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    assert text.count("\n") <= 420
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef) and node.end_lineno is not None:
            body_lines = node.end_lineno - node.lineno
            assert body_lines <= 75, f"{file.name}: {node.name} has {body_lines} lines"
