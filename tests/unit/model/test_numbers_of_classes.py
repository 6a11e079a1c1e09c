"""Requirements and records give numbers where the program knows classes of numbers only."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.commands.replay.columns import observable
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.build import FAULT_FREE, build
from interlock.model.load import load
from interlock.model.model import Model

_PROGRAM = """PROGRAM p
VAR_INPUT level, raw : INT; temp : REAL; END_VAR
VAR_OUTPUT low, hot, far : BOOL; END_VAR
low := level < 10;
hot := temp > 80.5;
far := INT_TO_REAL(raw) * 0.1 > 90.0;
END_PROGRAM"""


def _model(folder: Path, never: str) -> Model:
    (folder / "p.st").write_text(_PROGRAM)
    asked = f"  R: {{says: s, never: {never}, judged: after scan}}\n"
    (folder / "model.yaml").write_text(f"title: T\ncontroller: p.st\nrequirements:\n{asked}")
    return load(folder)


@pytest.mark.parametrize(
    ("never", "is_kept"),
    [
        ("hot AND temp <= 80.5", True),
        ("hot AND 80.5 < temp", False),
        ("hot AND NOT (temp > 80.5)", True),
        ("NOT hot AND 80.5 >= temp", False),
        ("far AND raw <= 900", True),
        ("far AND raw > 900", False),
        ("far AND raw >= 901", False),
        ("far AND raw < -40000", True),
        ("hot AND temp = 80.5 AND temp <> 80.5", True),
        ("hot AND temp = 80.5", True),
        ("NOT hot AND temp = 80.5", False),
        ("temp = 80.5 AND temp >= 81", True),
        # The program compares with neither of these.
        ("hot AND temp < 80", True),
        ("hot AND 100 <= temp AND temp < 120.25", False),
        ("NOT hot AND temp < -3.25", False),
        ("NOT hot AND temp > 80.25 AND temp < 80.5", False),
        ("far AND raw < 850", True),
        ("NOT far AND raw > 899", False),
        ("NOT far AND raw > 900.5", True),
        ("raw = 7 AND raw <> 7", True),
        ("raw = 7", False),
        ("raw = 7 AND raw > 8", True),
    ],
)
def test_inputs_may_be_compared_with_numbers(never: str, is_kept: bool, tmp_path: Path) -> None:
    findings = verify(_model(tmp_path, never), catalogue()["enumerate"]()).findings
    assert any(f.verdict.outcome is Outcome.VIOLATED for f in findings) is not is_kept


def test_numbers_of_terms_and_of_a_matrix_count_like_those_of_requirements(tmp_path: Path) -> None:
    (tmp_path / "p.st").write_text(_PROGRAM)
    (tmp_path / "m.csv").write_text("cause;low;hot\ntemp >= 90.5;;X\ntemp < 20;X;\n")
    (tmp_path / "model.yaml").write_text(
        "title: T\ncontroller: p.st\nmatrix: {file: m.csv}\nterms: {warm: raw > 100}\n"
        "requirements:\n  R: {says: s, never: far AND NOT warm, judged: after scan}\n"
    )
    findings = verify(load(tmp_path), catalogue()["enumerate"]()).findings
    assert [f.verdict.outcome.value for f in findings] == ["holds", "holds", "violated"]


def test_two_numbers_for_which_an_input_has_no_value_between_are_one(tmp_path: Path) -> None:
    # Binary32 has 24 digits: these two are one of its numbers.
    never = "temp > 16777216 AND temp <= 16777217"
    findings = verify(_model(tmp_path, never), catalogue()["enumerate"]()).findings
    assert all(f.verdict.outcome is not Outcome.VIOLATED for f in findings)


def test_what_is_still_not_told_apart_is_refused_with_what_to_do(tmp_path: Path) -> None:
    says = "does not tell apart .* compare it in the program and name the result here"
    with pytest.raises(InputError, match=says) as caught:
        _model(tmp_path, "low AND (temp) >= 80.5")
    assert len(caught.value.mistakes) == 1


def test_a_record_gives_the_number_and_not_the_class(tmp_path: Path) -> None:
    shown = observable(build(_model(tmp_path, "low AND hot"), FAULT_FREE))
    temp, raw, level = (shown[f"in:{name}"] for name in ("temp", "raw", "level"))
    assert temp.value("20") == temp.value("80.5") == temp.value("-1e3") == 0
    assert temp.value("80.75") == temp.value("+300.0") == 1
    assert temp.value("above 80.5 up to 1e+09") == 1
    assert (raw.value("900"), raw.value("901"), raw.value("-32768")) == (0, 1, 0)
    assert level.value("9") == level.value("-5") == 0
    assert level.value("10") == level.value("11") == 10
    for text in ("", "x", "1e99", "nan", "0x1", "40000"):
        assert raw.value(text) is None
