"""The ramp's program in text and drawn: no difference; and a drawing with a mistake differs."""

from __future__ import annotations

from pathlib import Path
from shutil import copytree

from interlock.commands.compare.behaviour import Behaviour, run_in_lockstep
from interlock.engines import catalogue
from interlock.independent_judge.story import tell
from interlock.model.build import build
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.models import MODELS, shipped, undecided, vacuous, verified, violated


def _beside_the_text(model: Model) -> Behaviour:
    return run_in_lockstep(build(shipped("ramp")), build(model), catalogue()["enumerate"]())


def _with_a_mistake(folder: Path, right: str, wrong: str) -> Model:
    """The drawn ramp with a change of its file."""
    for name in ("ramp", "ramp-drawn"):
        copytree(MODELS / name, folder / name)
    file = folder / "ramp-drawn" / "controller.xml"
    text = file.read_text("utf-8")
    assert text.count(right) == 1
    file.write_text(text.replace(right, wrong), "utf-8")
    return load(folder / "ramp-drawn")


def test_the_drawn_ramp_does_what_the_text_does() -> None:
    assert _beside_the_text(shipped("ramp-drawn")).is_equal
    verification = verified(shipped("ramp-drawn"))
    assert not violated(verification) | undecided(verification) | vacuous(verification)


def test_a_mistake_in_the_drawing_is_found_and_its_element_named(tmp_path: Path) -> None:
    # The sign of the pin that is pulled is lost.
    sign = '<variable formalParameter="IN3" negated="true">'
    model = _with_a_mistake(tmp_path, sign, sign.replace(' negated="true"', ""))
    assert not _beside_the_text(model).is_equal
    verification = verified(model)
    assert violated(verification)
    run = next(f.run for f in verification.findings if f.run is not None)
    decided = [place for line in tell(model, run) for place in line.decided]
    assert any(place.element.startswith("coil ") for place in decided)
    assert {place.unit for place in decided} <= {"PROGRAM Ramp", "FUNCTION_BLOCK Secured"}
