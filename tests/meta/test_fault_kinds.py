"""No kind of fault is known in one place only.

That builder, player and second opinion agree on what each one does is shown in
``tests/agree/test_fault_kinds_agree.py``, that random models have it, in
``tests/agree/test_second_opinion_agrees.py``.
"""

from __future__ import annotations

import ast
import json
from pathlib import Path
from typing import Any

import pytest

from interlock.model.fault import Fault
from interlock.model.fault_kinds import BY_VALUE, FAULT_KINDS, FaultKind, Site
from tests.second_opinion.world import MEANINGS
from tests.support.gate import gate

ROOT = Path(__file__).parents[2]
FACTS = {"shows", "holds", "blocks", "restarts"}
PLACES = {
    Site.SIGNAL: "sensor: shut",
    Site.OUTPUT: "output: lamp",
    Site.MACHINE: "gate",
    Site.CONTROLLER: "true",
}
ROWS = [(kind, site) for kind in FAULT_KINDS for site in kind.says]


def documented() -> dict[str, list[str]]:
    """The rows of the table of kinds in the documentation, by their names."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    table = text.split("| kind of fault |")[1].split("\n\n")[0].splitlines()[2:]
    rows = [[cell.strip() for cell in line.strip("|").split("|")] for line in table]
    return {row[0]: row[1:] for row in rows}


def schema() -> dict[str, Any]:
    """What editors know of the keys of a fault."""
    file = ROOT / "interlock" / "model" / "model.schema.json"
    found = json.loads(file.read_text(encoding="utf-8"))["$defs"]["FaultShape"]["properties"]
    assert isinstance(found, dict)
    return found


def attributes_in(source: Path) -> set[str]:
    """The attributes that a source reads."""
    tree = ast.parse(source.read_text(encoding="utf-8"))
    return {node.attr for node in ast.walk(tree) if isinstance(node, ast.Attribute)}


def test_names_and_values_are_each_given_once() -> None:
    assert len({kind.name for kind in FAULT_KINDS}) == len(FAULT_KINDS)
    assert len(BY_VALUE) == sum(kind.value is not None for kind in FAULT_KINDS)


def test_the_second_opinion_means_something_by_each_kind_and_reads_no_fact_of_it() -> None:
    assert MEANINGS.keys() == {kind.name for kind in FAULT_KINDS}
    assert not attributes_in(ROOT / "tests" / "second_opinion" / "world.py") & FACTS


def test_the_documentation_has_a_row_for_each_kind() -> None:
    told = {
        kind.name: [
            f"`{kind.key}: {kind.value}`" if kind.value else f"`{kind.key}`",
            ", ".join(site.value for site in kind.says),
        ]
        for kind in FAULT_KINDS
    }
    assert {name: row[:2] for name, row in documented().items()} == told


@pytest.mark.parametrize("kind", FAULT_KINDS, ids=lambda kind: kind.name)
def test_editors_know_the_keys_of_each_kind(kind: FaultKind) -> None:
    keys = schema()
    assert kind.key in keys
    if kind.value is not None:
        assert kind.value in keys[kind.key]["anyOf"][0]["enum"]
    else:
        assert keys[kind.key]["description"] == kind.key_says
    assert kind.only_in is None or keys[kind.only_in]["description"] == kind.only_in_says


@pytest.mark.parametrize(
    ("kind", "site"), ROWS, ids=[f"{kind.name} at {site.value}" for kind, site in ROWS]
)
def test_a_model_file_can_ask_for_each_kind(tmp_path: Path, kind: FaultKind, site: Site) -> None:
    asked = f"{kind.key}: {kind.value or PLACES[site]}"
    where = f", {PLACES[site]}" if kind.value else ""
    text = f"  F9: {{says: x, {asked}{where}}}\nrequirements:"
    fault: Fault = gate(tmp_path, ("requirements:", text)).faults["F9"]
    (effect,) = fault.effects
    assert (effect.kind, effect.site) == (kind, site)
    assert effect.says(()).startswith(effect.name or "the program")


def test_each_kind_does_something() -> None:
    for kind in FAULT_KINDS:
        assert kind.shows is not None or kind.blocks or kind.restarts, kind.name


@pytest.mark.parametrize("reader", ["model/build.py", "independent_judge/player.py"])
def test_builder_and_player_read_each_fact(reader: str) -> None:
    assert attributes_in(ROOT / "interlock" / reader) >= FACTS
