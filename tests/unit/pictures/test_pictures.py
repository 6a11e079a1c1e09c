"""Each picture of a small model shows what it must."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import pytest

from interlock.engines import catalogue
from interlock.kernel.requirement import Outcome
from interlock.model.load import load
from interlock.model.model import Model
from interlock.pictures.collection import KINDS, Drawn, draw_model
from interlock.pictures.dot import render
from interlock.pictures.picture import Picture
from interlock.pictures.style import wrapped_expression
from tests.support.small_models import GATE_MODEL, GATE_PROGRAM, gate, write_model


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> Model:
    return gate(tmp_path_factory.mktemp("models"))


@pytest.fixture(scope="module")
def drawn(model: Model) -> Drawn:
    return draw_model(model, catalogue()["reference"]())


def named(drawn: Drawn, name: str) -> Picture:
    return next(picture for picture in drawn.pictures if picture.name == name)


def laid_out(picture: Picture) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(render(picture.text, "json"))
    return found


def words(label: str) -> str:
    """The text of a label in markup."""
    return " ".join(re.sub(r"<[^>]*>", " ", label).split())


def edges_of(picture: Picture) -> list[tuple[str, str, dict[str, str]]]:
    found = laid_out(picture)
    names = {item["_gvid"]: item["name"] for item in found["objects"]}
    return [(names[e["tail"]], names[e["head"]], e) for e in found.get("edges", [])]


def test_every_kind_of_picture_is_there(drawn: Drawn) -> None:
    assert [picture.name for picture in drawn.pictures] == [
        *("machine-gate", "machine-bolt", "machine-dog"),
        *("conversions", "permissives-gate", "permissives-bolt", "matrix"),
        *("memory-Gate", "side-views", "signals", "side-view"),
        *("run-G1", "steps-G1", "timing-G1", "run-G3", "steps-G3", "timing-G3"),
    ]
    assert drawn.outcome is Outcome.VIOLATED


@pytest.mark.parametrize("kind", KINDS)
def test_one_kind_alone_can_be_drawn(model: Model, kind: str) -> None:
    alone = draw_model(model, catalogue()["reference"](), [kind])
    # The gate declares no supply, names no matrix and is not drawn; models that do or are stand
    # elsewhere.
    assert bool(alone.pictures) == (kind not in ("supplies", "demands", "networks"))
    assert (alone.verification is not None) == (kind in ("runs", "steps", "timing"))


def test_a_state_diagram_shows_every_state_and_every_move(drawn: Drawn) -> None:
    picture = named(drawn, "machine-gate")
    assert {item["name"] for item in laid_out(picture)["objects"]} == {"shut", "between", "open"}
    told = {(tail, head): words(e["label"]) for tail, head, e in edges_of(picture)}
    assert told == {
        ("shut", "between"): ("plant : the gate leaves its place when drive AND bolt = out"),
        ("between", "open"): "plant : the gate is open when drive also bolt := in",
        ("open", "shut"): "operator : pushes the gate shut",
    }


def test_people_are_told_apart_by_line_and_by_word(drawn: Drawn) -> None:
    looks = {
        words(e["label"]).split(" :")[0]: e["style"]
        for _, _, e in [
            *edges_of(named(drawn, "machine-gate")),
            *edges_of(named(drawn, "machine-dog")),
        ]
    }
    assert looks == {
        "plant": "solid",
        "operator": "dashed",
        "driver": "dotted",
        "human error": "dashed",
    }


def test_the_initial_state_is_marked_by_outline_and_word(drawn: Drawn) -> None:
    items = {item["name"]: item for item in laid_out(named(drawn, "machine-dog"))["objects"]}
    assert items["wild"]["label"].endswith("start")
    assert items["wild"]["penwidth"] == "3"
    assert "penwidth" not in items["calm"]


def test_the_map_shows_reachable_configurations_and_marks_the_unsafe_one(drawn: Drawn) -> None:
    items = {
        words(item["label"]): item for item in laid_out(named(drawn, "conversions"))["objects"]
    }
    unsafe = [label for label, item in items.items() if item.get("shape") == "octagon"]
    assert unsafe == ["gate open bolt in goal G2 UNSAFE"]
    assert "gate shut bolt in start" in items
    for label in unsafe:
        assert items[label]["peripheries"] == "2"


def test_the_map_marks_the_run_to_the_goal(drawn: Drawn) -> None:
    edges = edges_of(named(drawn, "conversions"))
    steps = [words(e["label"]).split()[0] for _, _, e in edges if e["penwidth"] == "3.2"]
    assert sorted(steps) == ["A1", "A2", "A3"]


def test_a_map_with_too_many_configurations_becomes_a_slice(model: Model) -> None:
    from interlock.kernel.query import Limits
    from interlock.model.build import build
    from interlock.pictures.conversions import draw_conversions
    from interlock.pictures.shown.conversions import ConversionStudy

    built, engine = build(model), catalogue()["reference"]()
    study = ConversionStudy(built, most=4)
    explored = engine.explore(built.system, study.queries)
    found = study.result(explored.answers, None, engine, Limits())
    assert (found.machines, found.left_out) == (("gate",), ("bolt",))
    assert len(found.configurations) == 3
    assert "A slice: bolt left out" in draw_conversions(built, found).text


def test_permissives_name_signals_with_polarity_and_moves(drawn: Drawn) -> None:
    def items(name: str) -> dict[str, str]:
        found = laid_out(named(drawn, name))["objects"]
        return {item["name"]: words(item["label"]) for item in found}

    gate, bolt = items("permissives-gate"), items("permissives-bolt")
    assert gate["signals/drive"] == "must be TRUE pressed must be FALSE bolt_in"
    assert gate["output/drive"] == "drive\\nthe motor"
    assert "gate: shut to between" in gate["moves/drive/on"]
    assert "moves/drive/off" not in gate
    told = "must be TRUE pressed TRUE in some states [pull (before)], [seen]"
    assert bolt["signals/pull"] == told
    assert "bolt: out to in" in bolt["moves/pull/off"]


def test_outputs_that_depend_and_act_alike_are_drawn_as_one(tmp_path: Path) -> None:
    text = GATE_MODEL.replace("when: drive,", "when: drive AND feed,")
    text = text.replace("when: drive AND", "when: drive AND feed AND")
    program = GATE_PROGRAM.replace("drive, pull : BOOL", "drive, feed, pull : BOOL")
    program = program.replace(
        "pull := pressed", "feed := pressed AND NOT bolt_in;\npull := pressed"
    )
    both = load(write_model(tmp_path / "both", text, program))
    pictures = draw_model(both, catalogue()["reference"](), ["permissives"]).pictures
    names = [item["name"] for item in laid_out(pictures[0])["objects"]]
    assert sorted(names) == ["moves/drive/on", "output/drive", "signals/drive"]
    assert "drive\\nthe motor\\nfeed" in pictures[0].text


def test_the_matrix_and_its_table_say_the_same(drawn: Drawn) -> None:
    picture = named(drawn, "matrix")
    rows = list(csv.reader(io.StringIO(picture.tables["matrix.csv"])))
    assert rows[:6] == [
        ["cause", "kind", "says", "drive", "pull"],
        ["pressed", "signal", "", "T", "T"],
        ["bolt_in", "signal", "", "F", ""],
        ["idle", "signal", "", "", ""],
        ["pull (before)", "memory", "memory of earlier scans", "", "t"],
        ["seen", "memory", "memory of earlier scans", "", "t"],
    ]
    assert ["T", "legend", "must be TRUE: the output never comes on without it"] in rows
    (item,) = laid_out(picture)["objects"]
    assert words(item["label"]).startswith(
        "signal drive pull pressed T T bolt_in F idle memory that the scan starts with"
    )


def test_a_run_is_told_in_order_and_ends_in_the_violation(drawn: Drawn) -> None:
    items = {item["name"]: item for item in laid_out(named(drawn, "run-G1"))["objects"]}
    heads = [name.removeprefix("head ") for name in items if name.startswith("head ")]
    assert heads == ["operator", "controller", "plant"]
    heights = [
        float(item["pos"].split(",")[1])
        for name, item in items.items()
        if name.startswith("number ")
    ]
    assert heights == sorted(heights, reverse=True)
    assert len(heights) > 5
    assert items["violated"]["shape"] == "octagon"
    assert float(items["violated"]["pos"].split(",")[1]) < heights[-1]
    told = " ".join(words(item["label"]) for item in items.values())
    for part in ("presses the button", "drive on", "the gate is open", "gate between → open"):
        assert part in told


def test_texts_do_not_depend_on_the_engine(model: Model, drawn: Drawn) -> None:
    kinds = ["machines", "conversions", "permissives", "matrix"]
    again = draw_model(model, catalogue()["symbolic"](), kinds)
    assert [p.text for p in again.pictures] == [
        p.text for p in drawn.pictures[: len(again.pictures)]
    ]


def test_a_limit_is_told_in_the_pictures(model: Model) -> None:
    from interlock.kernel.query import Limits

    kinds = ["conversions", "permissives", "matrix"]
    cut = draw_model(model, catalogue()["reference"](), kinds, limits=Limits(max_states=3))
    assert "the exploration was cut short (states 3)" in cut.pictures[0].text
    for picture in cut.pictures[1:]:
        assert "a limit cut the exploration short" in picture.text


def test_expressions_are_broken_before_their_operators() -> None:
    assert wrapped_expression("when a AND b OR NOT c AND (d XOR e)", 14) == [
        "when a AND b",
        "OR NOT c",
        "AND (d XOR e)",
    ]
