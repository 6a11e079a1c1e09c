"""What the README shows of the terminal is what the tool prints."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from interlock.cli.main import run

ROOT = Path(__file__).parents[2]
# The texts before these two have tests of their own.
*_, VIOLATION, MISTAKE = re.findall(
    r"```text\n(.*?)```", (ROOT / "README.md").read_text(encoding="utf-8"), re.DOTALL
)


def test_the_violation_is_told_as_the_readme_shows(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", str(ROOT / "models/ramp-broken/pin-alone"), "--plain"]) == 1
    printed = [line.rstrip() for line in capsys.readouterr().out.splitlines()]
    shown = VIOLATION.splitlines()
    start = printed.index(shown[0])
    assert printed[start : start + len(shown)] == shown


def test_the_mistake_is_told_as_the_readme_shows(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    shutil.copytree(ROOT / "models" / "ramp", "models/ramp")
    file = Path("models/ramp/model.yaml")
    lines = file.read_text(encoding="utf-8").split("\n")
    number, column = map(int, re.findall(r":(\d+)", MISTAKE)[:2])
    right = lines[number - 1]
    assert right[column - 1 :].startswith("stowed")
    lines[number - 1] = right[: column - 1] + right[column - 1 :].replace("stowed", "stowd", 1)
    file.write_text("\n".join(lines), encoding="utf-8")
    assert run(["verify", "models/ramp"]) == 2
    assert capsys.readouterr().err == MISTAKE
