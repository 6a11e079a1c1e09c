"""What counts the moves since a scan is part of a state whichever moves there are."""

from __future__ import annotations

from pathlib import Path

from interlock.kernel.system import MOVED
from interlock.model.between import ANY_NUMBER, EACH_ONCE, ONE_IN_ALL
from interlock.model.build import RunClass, build
from tests.support.gate import gate

BOLT = (
    "plant:\n",
    "plant:\n  bolt: {states: [IN, OUT], moves: [{from: IN, to: OUT, by: human, name: slips}]}\n",
)


def test_a_state_has_the_same_variables_with_human_errors_and_without(tmp_path: Path) -> None:
    model = gate(tmp_path, BOLT).assuming(EACH_ONCE)
    without, with_errors = (build(model, RunClass(human=human)).system for human in (False, True))
    assert MOVED + "bolt" in with_errors.index
    assert [v.name for v in without.variables] == [v.name for v in with_errors.variables]


def test_a_model_that_says_nothing_lets_every_machine_and_every_control_move_once(
    tmp_path: Path,
) -> None:
    model = gate(tmp_path)
    assert model.sources
    assert not any("between_scans" in text for text in model.sources.values())
    assert model.between_scans == EACH_ONCE
    counted = {v.name for v in build(model).system.variables if v.name.startswith(MOVED)}
    assert counted == {MOVED + "gate", MOVED + "button"}


def test_each_word_for_what_may_happen_between_two_scans_is_the_assumption_that_it_says(
    tmp_path: Path,
) -> None:
    words = {"one in all": ONE_IN_ALL, "each once": EACH_ONCE, "any number": ANY_NUMBER}
    for n, (word, assumed) in enumerate(words.items()):
        run = ("plant:\n", f"run: {{between_scans: {word}}}\nplant:\n")
        assert gate(tmp_path / str(n), run).between_scans == assumed
    assert ONE_IN_ALL.says == "at most one move in all between two scans"
    assert ONE_IN_ALL.weaker == (EACH_ONCE, ANY_NUMBER)
    assert (EACH_ONCE.weaker, ANY_NUMBER.weaker) == ((ANY_NUMBER,), ())
