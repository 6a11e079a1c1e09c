"""A matrix of causes and effects: each meaning kept and broken, and every mistake at its cell."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import make
from interlock.judgement.effect_cells import JudgedMatrix, judged_matrix
from interlock.judgement.verify import verify
from interlock.model.load import load
from interlock.model.matrix_signs import Meaning
from tests.support.workbooks import packed, parts_of, rows

PROGRAM = """\
PROGRAM Press
VAR_INPUT a, b, r : BOOL; level : INT; END_VAR
VAR_OUTPUT e, f : BOOL; END_VAR
VAR m : BOOL; END_VAR
{body}
END_PROGRAM
"""
LEGEND = "legend;S;stays on\nlegend;T;off\nlegend;L;stays off\nlegend;R;resets\nlegend;N;needs\n"
LATCH = "m := (m OR a) AND NOT r; "


@pytest.fixture(autouse=True)
def _inside(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def judged(matrix: str, body: str, more: str = "", file: str = "m.csv") -> JudgedMatrix:
    """The matrix held against a program with this body."""
    write(matrix, body, more, file)
    found = judged_matrix(verify(load("x"), make("reference")))
    assert found is not None
    return found


def write(matrix: str | bytes, body: str = "e := a;", more: str = "", file: str = "m.csv") -> None:
    """A model in the folder x with this matrix."""
    shutil.rmtree("x", ignore_errors=True)
    Path("x").mkdir()
    Path("x/controller.st").write_text(PROGRAM.format(body=body))
    data = matrix if isinstance(matrix, bytes) else matrix.encode()
    Path("x", file).write_bytes(data)
    text = f"title: x\ncontroller: controller.st\nmatrix: {{file: {file}{more}}}\n"
    Path("x/model.yaml").write_text(text)


def outcomes(found: JudgedMatrix) -> list[str]:
    return [found.says(*cell) for cell in found.matrix.cells]


# Signs of the causes a and r on the effect e; a program that keeps them, one that does not.
PAIRS = {
    "on": ("X", "", "e := a OR b;", "e := a AND b;"),
    "off": ("T", "", "e := b AND NOT a;", "e := b;"),
    "needs": ("N", "", "e := a AND b;", "e := a OR b;"),
    "stays on": ("S", "R", LATCH + "e := m;", "e := a AND NOT r;"),
    "stays on, for good": ("S", "", "m := m OR a; e := m;", LATCH + "e := m;"),
    "stays off": ("L", "R", LATCH + "e := b AND NOT m;", "e := b AND NOT a;"),
    "stays off, for good": ("L", "", "m := m OR a; e := b AND NOT m;", LATCH + "e := b AND NOT m;"),
}


@pytest.mark.parametrize("name", PAIRS)
def test_each_meaning_is_kept_by_one_program_and_broken_by_another(name: str) -> None:
    first, second, kept, broken = PAIRS[name]
    matrix = f"cause;e\na;{first}\nr;{second}\n{LEGEND}"
    assert set(outcomes(judged(matrix, kept))) == {"holds"}
    found = judged(matrix, broken)
    assert outcomes(found)[0] == "violated"
    assert found.findings[0, 0].run is not None


def test_a_reset_is_kept_and_broken() -> None:
    stays_on = f"cause;e\na;S\nr;R\n{LEGEND}"
    assert outcomes(judged(stays_on, LATCH + "e := m;")) == ["holds", "holds"]
    assert outcomes(judged(stays_on, "m := m OR a; e := m;")) == ["holds", "violated"]
    stays_off = f"cause;e\na;L\nr;R\n{LEGEND}"
    assert outcomes(judged(stays_off, LATCH + "e := NOT m;")) == ["holds", "holds"]
    assert outcomes(judged(stays_off, "m := m OR a; e := NOT m;")) == ["holds", "violated"]


def test_else_is_there_while_no_other_cause_acts_on_the_effect() -> None:
    matrix = f"cause;e;f\na;T;\nlevel > 5;T;T\nELSE;X;X\n{LEGEND}"
    kept = "e := NOT a AND level <= 5; f := level <= 5;"
    assert outcomes(judged(matrix, kept)) == ["holds"] * 5
    assert outcomes(judged(matrix, kept.replace("NOT a", "NOT a AND b"))) == [
        *["holds"] * 3,
        "violated",
        "holds",
    ]


def test_causes_and_effects_are_expressions_and_words_stand_above_and_beside() -> None:
    matrix = ";;;Pump off\nno;cause;description;NOT e;remarks\n7;a AND NOT b;Key, turned;1;x\n"
    found = judged(matrix, "e := b OR NOT a;")
    assert outcomes(found) == ["holds"]
    (cause,), (effect,) = found.matrix.causes, found.matrix.effects
    assert (cause.text, cause.says, effect.text, effect.says) == (
        "a AND NOT b",
        "Key, turned",
        "NOT e",
        "Pump off",
    )
    (finding,) = found.findings.values()
    assert finding.requirement.id == "M_7_NOT_e"
    assert finding.requirement.says == "While Key, turned: NOT e"
    assert found.matrix.notes[-1] == "columns passed over: remarks"


def test_a_cause_that_never_comes_is_vacuous_and_never_holds() -> None:
    found = judged("cause;e\nlevel > 5 AND level < 3;X\na;X\n", "e := a;")
    assert outcomes(found) == ["vacuous", "holds"]
    assert found.counts == {"holds": 1, "undecided": 1}


def test_only_what_was_asked_for_is_judged() -> None:
    write("cause;e\na;X\nb;X\n")
    found = judged_matrix(verify(load("x"), make("reference"), only=("M_a_e",)))
    assert found is not None
    assert outcomes(found) == ["holds", "not asked"]


def test_signs_are_requirements_at_their_cells_with_hazards_and_stable_names() -> None:
    matrix = "cause;hazard;e;f\na;H1;X;\nb;H1, H2;;X\n"
    write(matrix)
    with Path("x/model.yaml").open("a") as stream:
        stream.write("hazards: {H1: {says: one}, H2: {says: two}}\n")
    model = load("x")
    assert [(s.id, str(s.place), s.hazards) for s in model.statements.values()] == [
        ("M_a_e", "x/m.csv:2:6", ("H1",)),
        ("M_b_f", "x/m.csv:3:11", ("H1", "H2")),
    ]
    assert model.sources["x/m.csv"] == matrix


def test_the_model_file_may_state_what_signs_mean() -> None:
    assert outcomes(judged("cause;e\na;Q\n", "e := a;", ", legend: {Q: 'on'}")) == ["holds"]
    assert outcomes(judged("cause;e\na;0\n", "e := b AND NOT a;", ", legend: {'0': 'off'}")) == [
        "holds"
    ]


def test_a_workbook_is_read_with_merged_headings_and_its_cells_are_the_source() -> None:
    sheet = rows(
        ["", "", "Pump", ""],
        ["Cause", "Description", "e", "f"],
        ["a", "=1", "X", ""],
        ["b", "", "", "X"],
        merged="C1:D1 A2:A2",
    )
    data = packed(parts_of({"Notes": rows(["x"]), "M": sheet}))
    write(data, "e := a; f := b;", file="m.xlsx")
    model = load("x")
    assert model.matrix is not None
    assert [line.says for line in model.matrix.effects] == ["Pump", "Pump"]
    assert model.matrix.causes[0].says == "=1"
    assert model.sources["x/m.xlsx (as CSV)"].splitlines()[2] == "a,'=1,X"
    two = packed(parts_of({"A": sheet, "B": sheet}))
    write(two, "e := a; f := b;", file="m.xlsx")
    with pytest.raises(InputError, match=r"several sheets have causes in them \(A, B\)"):
        load("x")
    write(two, "e := a; f := b;", ", sheet: B", file="m.xlsx")
    assert len(load("x").statements) == 2
    write(two, "e := a; f := b;", ", sheet: C", file="m.xlsx")
    with pytest.raises(InputError, match="there is no sheet 'C'; known: A, B"):
        load("x")


@pytest.mark.parametrize(
    ("matrix", "says"),
    [
        ("a;e\nb;X\n", "x/model.yaml:3:16: no row is headed 'cause'"),
        ("cause;e\n", "x/m.csv:1:1: the matrix has no cause"),
        ("cause\na\n", "x/m.csv:1:1: the matrix has no effect"),
        ("cause;e\na;Q\n", "x/m.csv:2:3: nothing says what 'Q' means; put a row 'legend'"),
        ("cause;e;f\na;Q;Q\n", "x/m.csv:2:3: nothing says what 'Q' means, in 2 cells; put"),
        (
            "cause;e;f\n" + "".join(f"{c};{c}1;{c}2\n" for c in ("a", "b", "r", "NOT a")),
            "x/m.csv:2:3: 8 texts in cells have no stated meaning",
        ),
        ("cause;e\na;X\nA;X\n", "x/m.csv:3:1: the cause 'A' comes twice; first in line 2"),
        ("cause;e;E\na;X;\n", "x/m.csv:1:9: the effect 'E' comes twice; first in line 1"),
        ("cause;e\na;X\n;X\n", "x/m.csv:3:1: this row has signs and no cause"),
        ("cause;e\na;X\nlegend;Q;of\n", "x/m.csv:3:10: 'of' is no meaning of a sign; did you"),
        (
            "cause;e\na;Q\nlegend;Q;on\nlegend;Q;off\n",
            "x/m.csv:4:10: 'Q' is said to mean 'off' here and 'on' elsewhere",
        ),
        ("cause;e\naa;X\n", "x/m.csv:2:1: cause 'aa': 'aa' is not declared"),
        ("cause;ee\na;X\n", "x/m.csv:1:7: effect 'ee': 'ee' is not declared"),
        ("cause;e\nlevel;X\n", "x/m.csv:2:1: cause 'level': level is of type INT; expected BOOL"),
        ("cause;hazard;e\na;H1;X\n", "x/m.csv:2:6: 'H1' is not a hazard"),
    ],
)
def test_each_mistake_is_told_once_at_its_place(matrix: str, says: str) -> None:
    write(matrix)
    with pytest.raises(InputError) as caught:
        load("x")
    (mistake,) = caught.value.mistakes
    assert str(mistake).startswith(says)


def test_a_name_that_a_sign_has_is_taken() -> None:
    write("cause;e\na;X\n")
    with Path("x/model.yaml").open("a") as stream:
        stream.write("requirements: {M_a_e: {says: mine, can_still: e}}\n")
    with pytest.raises(InputError, match="'M_a_e' is what a sign of the matrix is called"):
        load("x")


def test_a_revision_inherits_the_matrix_and_its_signs_are_compared(
    capsys: pytest.CaptureFixture[str],
) -> None:
    from interlock.cli.main import run

    write("cause;e\na;X\n", "e := a;")
    Path("y").mkdir()
    Path("y/model.yaml").write_text("title: y\nrevises: ../x\ncontroller: controller.st\n")
    Path("y/controller.st").write_text(PROGRAM.format(body="e := a AND b;"))
    assert list(load("y").statements) == ["M_a_e"]
    assert run(["compare", "x", "y", "--plain"]) == 1
    assert "M_a_e" in capsys.readouterr().out


def test_every_meaning_has_a_sentence_for_the_legend() -> None:
    assert len({meaning.says for meaning in Meaning}) == len(Meaning)
