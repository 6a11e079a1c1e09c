"""A journal goes on with the results of the very model, and of what is asked of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.commands.challenge.results import DefectOutcome
from interlock.commands.challenge.study import Choice, challenge
from interlock.engines import catalogue
from interlock.model.load import load
from interlock.model.model import Model
from tests.support.gate import GATE_YAML, gate, written


def outcomes(model: Model, folder: Path | None = None) -> dict[str, DefectOutcome]:
    found = challenge(model, catalogue()["reference"](), Choice(folder=folder))
    return {id_: result.outcome for id_, result in found.results.items()}


def plant_last(quote: str, initial: str = "SHUT") -> str:
    """The gate with its plant behind the requirements, whose key may be quoted."""
    head, rest = GATE_YAML.split("plant:\n", 1)
    plant, rest = rest.split("controls:\n", 1)
    plant = plant.replace("    moves:", f"    initial: {initial}\n    moves:")
    return f"{head}controls:\n{rest}{quote}plant{quote}:\n{plant}"


@pytest.mark.parametrize("quote", ["", "'", '"'])
def test_results_of_another_plant_are_refused_however_its_key_is_written(
    tmp_path: Path, quote: str
) -> None:
    folder = tmp_path / "journal"
    one = load(written(tmp_path / "one", plant_last(quote)))
    outcomes(one, folder)
    other = load(written(tmp_path / "other", plant_last(quote, "OPEN")))
    with pytest.raises(InputError, match="this journal is of another model"):
        outcomes(other, folder)


def test_the_same_model_in_another_notation_goes_on(tmp_path: Path) -> None:
    folder = tmp_path / "journal"
    known = outcomes(load(written(tmp_path / "one", plant_last(""))), folder)
    noted = plant_last("") + "# a remark\n"
    found = challenge(
        load(written(tmp_path / "two", noted)),
        catalogue()["reference"](),
        Choice(folder=folder),
    )
    assert found.n_resumed == len(known)


SPARE = (
    ("sensors:\n", "sensors:\n  spare: {reads: gate = OPEN}\n"),
    ("VAR_INPUT shut,", "VAR_INPUT spare, shut,"),
)
TELLS = "  R9: {says: the spare tells, never: spare AND gate = SHUT, about: signals}\n"


def test_what_a_new_requirement_about_signals_can_see_is_tried_again(tmp_path: Path) -> None:
    folder = tmp_path / "journal"
    before = outcomes(gate(tmp_path / "one", *SPARE), folder)
    (stuck,) = (id_ for id_ in before if id_.endswith("signal spare stuck at TRUE"))
    # The program never reads it, so nothing that moves or lights up can differ.
    assert before[stuck] is DefectOutcome.EQUIVALENT
    more = ("R4: {says", TELLS.strip() + "\n  R4: {says")
    asked = gate(tmp_path / "two", *SPARE, more)
    assert outcomes(asked, folder)[stuck] is DefectOutcome.CAUGHT
    assert outcomes(asked, folder) == outcomes(asked)


# Both inputs of the AND go into 'both' alone, and the lamp is the same whatever they give it.
INSIDE = (
    ("lamp : BOOL; END_VAR", "lamp : BOOL; END_VAR\nVAR both : BOOL; END_VAR"),
    ("lamp :=", "both := shut AND pressed;\nlamp := both AND NOT drive OR"),
)
LOOKS_INSIDE = "  R9: {says: both or none, never: Gate.both AND NOT drive, judged: after scan}\n"


def test_what_a_new_requirement_sees_inside_the_program_is_tried_again(tmp_path: Path) -> None:
    folder = tmp_path / "journal"
    before = outcomes(gate(tmp_path / "one", *INSIDE), folder)
    (dropped,) = (id_ for id_ in before if id_.endswith("6:18 drop term pressed"))
    assert before[dropped] is DefectOutcome.EQUIVALENT
    more = ("R4: {says", LOOKS_INSIDE.strip() + "\n  R4: {says")
    asked = gate(tmp_path / "two", *INSIDE, more)
    assert outcomes(asked, folder)[dropped] is DefectOutcome.CAUGHT
    assert outcomes(asked, folder) == outcomes(asked)
