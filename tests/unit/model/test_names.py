"""What the names in a model's expressions mean."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from tests.support.small_models import GATE_MODEL, write_model

_TERMS = """terms:
  Open: gate = open AND bolt = out
  wide: Open AND gate = gate#open
requirements:
  T1: {says: The gate is wide with its bolt out only, always: gate = open OR NOT wide}
  T2: {says: Open is wide, always: Open = wide}
  T3: {says: Never wide, never: wide}
"""


def _gate(folder: Path, terms: str) -> Path:
    return write_model(folder, GATE_MODEL.replace("requirements:\n", terms))


def test_a_term_may_have_the_name_of_a_state_and_types_tell_them_apart(tmp_path: Path) -> None:
    result = verify(load(_gate(tmp_path, _TERMS)), catalogue()["reference"]())
    outcomes = {f.requirement.id: f.verdict.outcome for f in result.findings}
    assert outcomes["T1"] is outcomes["T2"] is Outcome.HOLDS
    assert outcomes["T3"] is Outcome.VIOLATED


def test_a_term_with_the_name_of_a_state_that_reads_itself_is_a_circle(tmp_path: Path) -> None:
    terms = _TERMS.replace("Open: gate", "Open: wide OR gate")
    with pytest.raises(InputError, match="terms define each other in a circle: Open -> wide -> O"):
        load(_gate(tmp_path, terms))


def test_an_expression_over_a_wrong_term_tells_its_own_mistakes(tmp_path: Path) -> None:
    terms = _TERMS.replace("bolt = out\n", "bolt = outt\n").replace("Open = wide", "Open = wyde")
    with pytest.raises(InputError) as caught:
        load(_gate(tmp_path, terms))
    said = [mistake.says for mistake in caught.value.mistakes]
    assert len(said) == 2
    assert "'outt' is neither declared nor a value of bolt" in said[0]
    assert "'wyde' is not declared; did you mean 'wide'?" in said[1]
