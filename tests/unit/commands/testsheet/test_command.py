"""``interlock testsheet`` as a user meets it: files, exit codes, results read back."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.gate import written
from tests.support.models import MODELS

RAMP = str(MODELS / "ramp")


def test_files_are_written_and_everything_is_shown(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["testsheet", RAMP, "-o", str(tmp_path)]) == 0
    said = capsys.readouterr().out
    assert "signals that decide an output alone: 40 of 40" in said
    assert "at the terminals (none has fewer than" in said
    page = (tmp_path / "testsheet.html").read_text(encoding="utf-8")
    assert "Begin at power-up" in page
    assert "<script" not in page
    assert "http" not in page.replace("http-equiv", "")
    first = (tmp_path / "testsheet.csv").read_bytes()
    assert run(["testsheet", RAMP, "-o", str(tmp_path)]) == 0
    assert (tmp_path / "testsheet.csv").read_bytes() == first


def test_what_is_assumed_between_two_scans_is_told_and_may_be_another(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = str(written(tmp_path / "gate"))
    for options, said in (
        ([], "every machine and every control moves at most once between two scans"),
        (["--assume", "one in all"], "at most one move in all between two scans, assumed in place"),
    ):
        assert run(["testsheet", folder, "-o", str(tmp_path / "sheet"), *options]) == 0
        assert said in capsys.readouterr().out
        assert said in (tmp_path / "sheet" / "testsheet.html").read_text("utf-8")


def test_pdf_is_the_same_bytes_twice(tmp_path: Path) -> None:
    pytest.importorskip("weasyprint")
    folder = str(written(tmp_path / "gate"))
    for name in ("a", "b"):
        assert run(["testsheet", folder, "-o", str(tmp_path / name), "--pdf"]) == 0
    made = (tmp_path / "a" / "testsheet.pdf").read_bytes()
    assert made.startswith(b"%PDF-")
    assert made == (tmp_path / "b" / "testsheet.pdf").read_bytes()


@pytest.mark.parametrize(("result", "code"), [("pass", 0), ("fail", 1), ("", 3)])
def test_results_decide_the_exit_code(
    tmp_path: Path, result: str, code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    run(["testsheet", RAMP, "-o", str(tmp_path)])
    file = tmp_path / "filled.csv"
    lines = (tmp_path / "testsheet.csv").read_text(encoding="utf-8").splitlines()
    rows = [
        line.removesuffix(",,") + (f",{result}," if n == 1 else ",pass,")
        for n, line in enumerate(lines[1:], 1)
    ]
    file.write_text("\n".join([lines[0], *rows]) + "\n", encoding="utf-8")
    capsys.readouterr()
    assert run(["testsheet", RAMP, "--results", str(file), "-o", str(tmp_path / "told")]) == code
    said = capsys.readouterr().out
    assert f"{len(rows) - (result != 'pass')} passed" in said
    assert not (tmp_path / "told" / "testsheet.csv").exists()
    assert ("row 1" in said) is (result != "pass")


def test_a_mistake_in_results_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "filled.csv"
    file.write_text("nonsense\n", encoding="utf-8")
    assert run(["testsheet", RAMP, "--results", str(file), "-o", str(tmp_path / "told")]) == 2
    assert "filled.csv:1:1: expected the heading of a sheet" in capsys.readouterr().err
    assert not (tmp_path / "told").exists()


def test_pdf_without_a_folder_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["testsheet", RAMP, "--pdf"]) == 2
    assert "-o FOLDER" in capsys.readouterr().err


def test_what_a_limit_leaves_open_is_exit_3(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["testsheet", RAMP, "--max-states", "30"]) == 3
    assert "OPEN" in capsys.readouterr().out
