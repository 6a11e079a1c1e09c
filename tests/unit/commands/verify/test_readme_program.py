"""The README's project without a plant is judged as the README says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from interlock.cli.main import run

README = (Path(__file__).parents[4] / "README.md").read_text(encoding="utf-8")


def test_the_program_alone_rests_on_what_the_readme_says(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    section = README.split("## A program alone")[1].split("\n## ")[0]
    station, pump = re.findall(r"```iecst\n(.*?)```", section, re.DOTALL)
    (model,) = re.findall(r"```yaml\n(.*?)```", section, re.DOTALL)
    (said,) = re.findall(r"```text\n(.*?)```", section, re.DOTALL)
    (tmp_path / "program").mkdir()
    (tmp_path / "program" / "station.st").write_text(station, encoding="utf-8")
    (tmp_path / "program" / "pump.st").write_text(pump, encoding="utf-8")
    (tmp_path / "model.yaml").write_text(model, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert run(["verify", ".", "--plain"]) == 0
    assert said in capsys.readouterr().out
