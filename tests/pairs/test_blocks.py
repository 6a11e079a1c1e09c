"""Each safety block keeps its requirements, and one changed line breaks the one that is about it.

What the standards ask is from memory, as the models say.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from interlock.engines import make
from interlock.judgement.verify import verify
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.oversights.study import look, questions_for
from tests.support.models import MODELS, folders, verified, violated

BLOCKS = MODELS / "blocks"
# By block: what stands in its file, what stands in its place, and what that must violate.
BROKEN = {
    "antivalent-channels": [
        ("on := no AND NOT nc AND", "on := no AND", "R1"),
        ("ELSIF NOT no AND nc THEN", "ELSIF nc THEN", "R4"),
        ("alike(IN := no = nc,", "alike(IN := no AND nc,", "R2"),
    ],
    "device-monitoring": [
        ("AND (drive OR is_off)", "", "R1"),
        ("unlike(IN := drive = is_off", "unlike(IN := drive AND is_off", "R2"),
        ("command AND NOT fault", "command", "R3"),
        ("AND NOT reset_before AND is_off", "", "R4"),
    ],
    "emergency-stop": [
        ("BOOL := TRUE;", "BOOL;", "R2"),
        ("reset AND NOT reset_before", "reset", "R2"),
        ("ELSIF reset AND NOT reset_before THEN", "ELSE", "R3"),
    ],
    "enabling-switch": [
        ("IF through OR NOT permitted THEN", "IF NOT permitted THEN", "R2"),
        ("IF through OR NOT permitted THEN", "IF through THEN", "R4"),
        ("AND NOT through AND", "AND", None),
    ],
    "equivalent-channels": [
        ("on := a AND b AND", "on := (a OR b) AND", "R1"),
        ("ELSIF NOT a AND NOT b THEN", "ELSIF NOT a OR NOT b THEN", "R4"),
        ("PT := discrepancy", "PT := T#500ms", "R2"),
    ],
    "guard-locking": [
        ("unlock := standstill AND", "unlock :=", "R1"),
        ("OR NOT bolted OR", "OR", "R2"),
        ("NOT bolted OR unlock THEN", "NOT bolted THEN", "R3"),
        ("reset AND NOT reset_before", "reset", "R4"),
    ],
    "guard-monitoring": [
        ("IF NOT (shut_a AND shut_b)", "IF NOT (shut_a OR shut_b)", "R1"),
        ("automatic OR reset AND NOT reset_before", "automatic OR reset", "R2"),
        ("NOT shut_a AND NOT shut_b THEN", "NOT shut_a OR NOT shut_b THEN", "R5"),
    ],
    "mode-selector": [
        ("IF chosen <> valid THEN", "IF chosen > valid THEN", "R2"),
        ("confirm AND NOT confirm_before", "confirm", "R5"),
        ("IF auto AND NOT setup AND", "IF auto AND", "R2"),
    ],
    "muting": [
        ("spoiled := sensor_1 OR sensor_2", "spoiled := FALSE", "R8"),
        ("IF one_first.Q OR lasting.Q", "IF lasting.Q", "R2"),
        ("IF one_first.Q OR lasting.Q", "IF one_first.Q", "R3"),
        ("AND permitted AND lamp_works AND", "AND permitted AND", None),
        ("  AND (muted OR curtain_free);", ";", "R5"),
    ],
    "safety-request": [
        ("waiting(IN := request AND NOT is_safe", "waiting(IN := FALSE", "R3"),
        ("request := demand OR fault;\nsafe", "request := demand;\nsafe", "R4"),
        ("AND NOT reset_before AND is_safe", "", "R5"),
    ],
    "two-hand-2": [
        ("  armed := FALSE;", "  armed := TRUE;", "R3"),
        ("run := armed AND left AND right", "run := armed AND left", "R1"),
    ],
    "two-hand-3": [
        ("PT := T#500ms", "PT := T#700ms", "R5"),
        ("  armed := FALSE;\nEND_IF\none", "  armed := TRUE;\nEND_IF\none", "R3"),
        ("run := armed AND left AND right", "run := armed AND right", "R1"),
    ],
}
CASES = [(name, *change) for name, changes in BROKEN.items() for change in changes]


def test_every_block_is_here() -> None:
    assert folders("blocks") == sorted(BROKEN)
    readme = (BLOCKS / "README.md").read_text("utf-8")
    for name in BROKEN:
        assert f"({name}/" in readme


@pytest.mark.parametrize("name", BROKEN)
def test_a_block_keeps_its_requirements_and_nothing_is_worth_a_look(name: str) -> None:
    model = load(BLOCKS / name)
    found = verify(model, make("reference"), beside=questions_for(model).queries)
    assert {f.requirement.id for f in found.findings if f.outcome is not Outcome.HOLDS} == set()
    assert look(model, found.beside, None, make("reference")).oversights == ()


@pytest.mark.parametrize(("name", "old", "new", "id_"), CASES)
def test_a_changed_line_breaks_what_is_about_it(
    name: str, old: str, new: str, id_: str | None, tmp_path: Path
) -> None:
    shutil.copytree(BLOCKS / name, tmp_path / name)
    (file,) = [f for f in (tmp_path / name).glob("*.st") if f.name != "bench.st"]
    text = file.read_text("utf-8")
    assert text.count(old) == 1
    file.write_text(text.replace(old, new), "utf-8")
    found = violated(verified(load(tmp_path / name)))
    # What another line keeps as well is kept nevertheless.
    assert id_ in found if id_ is not None else not found
