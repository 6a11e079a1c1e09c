"""What ``interlock doctor`` tells."""

from __future__ import annotations

import re
import tomllib
from importlib import metadata
from pathlib import Path

import pytest

from interlock.cli.main import run

PROJECT = tomllib.loads((Path(__file__).parents[3] / "pyproject.toml").read_text())["project"]


def names(requirements: list[str]) -> set[str]:
    found = (re.match(r"[A-Za-z0-9_.-]+", requirement) for requirement in requirements)
    return {match.group() for match in found if match}


def test_every_library_that_is_needed_or_extra_has_a_line(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["doctor"]) == 0
    told = capsys.readouterr().out
    extras = PROJECT["optional-dependencies"]
    wanted = names(PROJECT["dependencies"])
    wanted |= {
        n
        for extra, items in extras.items()
        if extra not in {"test", "mutants"}
        for n in names(items)
    }
    listed = set(re.findall(r"^(?:ok|absent|MISSING) +([^:]+):", told, re.MULTILINE))
    assert wanted <= listed


def test_a_library_of_an_extra_that_is_missing_is_told_with_the_extra(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    version = metadata.version

    def without_z3(name: str) -> str:
        if name == "z3-solver":
            raise metadata.PackageNotFoundError(name)
        return version(name)

    monkeypatch.setattr(metadata, "version", without_z3)
    assert run(["doctor"]) == 0
    (line,) = [n for n in capsys.readouterr().out.splitlines() if "z3-solver" in n]
    assert line.startswith("absent")
    assert "pip install 'interlock[recheck]'" in line


def test_nothing_is_called_needed_that_the_package_does_not_ask_for(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    version = metadata.version

    def only_what_is_asked_for(name: str) -> str:
        if name not in names(PROJECT["dependencies"]):
            raise metadata.PackageNotFoundError(name)
        return version(name)

    monkeypatch.setattr(metadata, "version", only_what_is_asked_for)
    assert run(["doctor"]) == 0
    assert "MISSING" not in capsys.readouterr().out
