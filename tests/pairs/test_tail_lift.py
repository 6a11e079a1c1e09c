"""The tail lift: a project that uses what real Structured Text uses, taken by every command."""

from __future__ import annotations

import shutil
from functools import cache
from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.commands.compare.behaviour import Likeness
from interlock.commands.compare.study import compare
from interlock.commands.compare.verdicts import Effect
from interlock.engines import catalogue
from interlock.independent_judge.controllers import is_executed_as_written
from interlock.model.load import load
from interlock.st.load import load_project
from interlock.telling.csv_log import to_csv
from tests.support.constructs_in_use import CONSTRUCTS, Project
from tests.support.models import MODELS, shipped, undecided, vacuous, verified, violated
from tests.support.recorded import random_run

FOLDER = MODELS / "tail-lift"


@cache
def project(folder: Path) -> Project:
    """The texts of a program."""
    return Project({file.name: file.read_text() for file in sorted(folder.glob("*.st"))})


def changed(folder: Path, old: str, new: str) -> Path:
    """A copy of the model with one place of its program replaced."""
    shutil.copytree(FOLDER, folder)
    file = folder / "program" / "tail_lift.st"
    text = file.read_text()
    assert text.count(old) == 1
    file.write_text(text.replace(old, new))
    return folder


def test_it_is_as_large_as_a_real_program() -> None:
    texts = project(FOLDER / "program").texts
    assert len(texts) == 8
    assert sum(len(text.splitlines()) for text in texts.values()) >= 600


@pytest.mark.parametrize("construct", CONSTRUCTS)
def test_a_construct_of_real_programs_occurs_in_it(construct: str) -> None:
    assert CONSTRUCTS[construct](project(FOLDER / "program"))


def test_none_of_them_occurs_in_the_first_model_of_a_student() -> None:
    small = Project({"controller.st": (MODELS / "ramp" / "controller.st").read_text()})
    assert not [name for name, occurs in CONSTRUCTS.items() if occurs(small)]


def test_a_slip_in_it_is_one_message_with_its_place() -> None:
    texts = dict(project(FOLDER / "program").texts)
    text = texts["tail_lift.st"]
    texts["tail_lift.st"] = text.replace("ELSIF NOT stowed", "ELSEIF NOT stowed")
    with pytest.raises(InputError) as refusal:
        load_project(texts)
    (mistake,) = refusal.value.mistakes
    line = text[: text.index("ELSIF NOT stowed")].count("\n") + 1
    assert str(mistake) == f"tail_lift.st:{line}:5: 'ELSEIF' is not Structured Text; write ELSIF"


def test_only_the_service_program_is_left_out_in_part() -> None:
    model = shipped("tail-lift")
    assert is_executed_as_written(model)
    assert model.project is not None
    left_out = [note for note in model.project.notes if note.says.startswith("left out")]
    assert {Path(note.place.file).name for note in left_out} == {"service.st"}
    assert not model.program.left_out


def test_every_requirement_holds_and_was_put_to_the_test() -> None:
    verification = verified(shipped("tail-lift"), "enumerate")
    assert not violated(verification) | undecided(verification) | vacuous(verification)
    assert verification.exploration.n_states == 141_543


def test_a_record_of_it_is_explained(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    model, log = shipped("tail-lift"), tmp_path / "log.csv"
    log.write_text(to_csv(model, random_run(model, 40, seed=5)))
    assert run(["replay", str(FOLDER), str(log)]) == 0
    assert "the whole record is explained" in capsys.readouterr().out


def test_it_does_not_differ_from_itself() -> None:
    found = compare(shipped("tail-lift"), load(FOLDER), catalogue()["enumerate"]())
    assert found.behaviour is not None
    assert {o.likeness for o in found.behaviour.outputs} == {Likeness.EQUAL}


def test_a_revision_that_raises_what_is_too_heavy_differs(tmp_path: Path) -> None:
    revision = changed(tmp_path / "new", "wired & NOT EQ(load, LoadClass#OVERLOADED)", "wired")
    found = compare(shipped("tail-lift"), load(revision), catalogue()["enumerate"]())
    assert found.behaviour is not None
    differ = {o.output for o in found.behaviour.outputs if o.likeness is Likeness.DIFFERS}
    assert "pump_run" in differ
    assert "lamp_stowed" not in differ
    worse = {v.id for v in found.verdicts if v.effect is Effect.WORSE}
    assert worse == {"R7"}


def test_its_text_written_anew_means_the_same(tmp_path: Path) -> None:
    assert run(["export", str(FOLDER), "--as", "st", "-o", str(tmp_path / "written")]) == 0
    written = {file.name: file.read_text() for file in (tmp_path / "written").iterdir()}
    texts = project(FOLDER / "program").texts
    assert written.keys() == texts.keys()
    assert load_project(written).program == load_project(texts).program


@pytest.mark.slow
def test_its_evidence_is_confirmed_without_an_engine(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    evidence = str(tmp_path / "evidence")
    asked = ["--only", "R1", "--only", "R2", "--only", "R12", "--faults", "none"]
    assert run(["verify", str(FOLDER), *asked, "--evidence", evidence]) == 0
    capsys.readouterr()
    # One claims to survive a fault, and nothing was shown of that.
    assert run(["recheck", evidence]) == 3
    assert "1 confirmed for less than it claims, 2 confirmed" in capsys.readouterr().out
