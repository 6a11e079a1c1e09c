"""Drawn programs as pictures: signs, values, active steps, and the network that decided."""

from __future__ import annotations

import re
import shutil
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.exchange.drawn_bodies import drawn_bodies
from interlock.exchange.signs import all_signs
from interlock.independent_judge.player import Player
from interlock.model.build import SCAN
from interlock.pictures.charts import draw_chart
from interlock.pictures.collection import draw_program
from interlock.pictures.network_values import Values, power_of
from interlock.pictures.networks import Shown, draw_networks
from interlock.pictures.program import DrawnProgram
from interlock.st.parser import parse_file
from tests.support.exchange_files import Sheet, interface, pou, project
from tests.support.models import MODELS, shipped

CHART = """FUNCTION_BLOCK Doors
VAR_INPUT go, back : BOOL; END_VAR
INITIAL_STEP Shut: END_STEP
STEP Opening: run(N); late(D, T#2s); END_STEP
STEP Locked: END_STEP
STEP Open: END_STEP
TRANSITION FROM Shut TO (Opening, Locked) := go; END_TRANSITION
TRANSITION FROM (Opening, Locked) TO Open := NOT go; END_TRANSITION
TRANSITION FROM Open TO Shut := back; END_TRANSITION
ACTION run: END_ACTION
ACTION late: END_ACTION
END_FUNCTION_BLOCK
"""


def _words(svg: str) -> list[str]:
    return [e.text or "" for e in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}text")]


def _held(names: set[str]) -> Values:
    return Values(
        lambda name: int(name in names) if name.isidentifier() else None,
        lambda _, value: "TRUE" if value else "FALSE",
        lambda _: True,
    )


def _latch() -> str:
    sheet = Sheet()
    rail = sheet.rail()
    start = sheet.contact("start", rail)
    sheet.rung()
    seal = sheet.contact("pump", rail)
    stop = sheet.contact("stop", start, seal, negated="true", at=(0, 4))
    sheet.coil("pump", stop, at=(0, 5))
    faces = interface(VAR_INPUT="start:BOOL;stop:BOOL", VAR_OUTPUT="pump:BOOL")
    return project(pou("Main", sheet.body("LD"), faces))


@pytest.mark.parametrize(
    ("held", "powered"),
    [({"start"}, True), ({"pump"}, True), ({"start", "stop"}, False), (set(), False)],
)
def test_power_goes_as_contacts_say(held: set[str], powered: bool) -> None:
    (network,) = drawn_bodies(_latch(), "main.xml")[0].networks
    power = power_of(all_signs(network.roots), _held(held))
    (coil,) = network.roots
    assert (coil.kind, power[(id(coil), "")]) == ("coil", int(powered))


def test_a_network_shows_names_values_and_heavy_lines() -> None:
    networks = drawn_bodies(_latch(), "main.xml")[0].networks
    svg = draw_networks(Shown("Main", "one", networks, _held({"start"})))
    words = _words(svg)
    assert [words.count(word) for word in ("start", "stop", "pump")] == [1, 1, 2]
    assert [words.count(word) for word in ("TRUE", "FALSE")] == [1, 3]
    bare = draw_networks(Shown("Main", "one", networks))
    assert "TRUE" not in _words(bare)
    assert len(re.findall('stroke-width="2.8"', svg)) > 0
    assert 'stroke-width="2.8"' not in bare


@pytest.mark.parametrize(("signs", "n_circles"), [({}, 1), ({"OUT": 'negated="true"'}, 0)])
def test_a_negation_has_its_circle(signs: dict[str, str], n_circles: int) -> None:
    # IEC 60617-12, from memory: the sign of a negation is 1 with a circle at its output.
    sheet = Sheet()
    box = sheet.block("NOT", {"IN": sheet.value("start")}, "OUT", signs=signs)
    sheet.assign("pump", (box, "OUT"))
    faces = interface(VAR_INPUT="start:BOOL", VAR_OUTPUT="pump:BOOL")
    text = project(pou("Main", sheet.body("FBD"), faces))
    networks = drawn_bodies(text, "main.xml")[0].networks
    assert draw_networks(Shown("Main", "one", networks)).count("<circle") == n_circles


def test_the_same_state_gives_the_same_bytes() -> None:
    model = shipped("ramp-drawn")
    one, other = ([picture.text for picture in draw_program(model)] for _ in range(2))
    assert one == other
    assert len(one) == 2


def test_the_network_that_decided_is_shown_with_its_element() -> None:
    model = shipped("ramp-drawn")
    player = Player(model)
    happening = player.play(SCAN)
    assert happening.scan is not None
    places = [decision.place for decision in happening.scan.decided]
    shown = DrawnProgram(model).deciding(places, player.reading().get)
    # Two outputs changed, by one network.
    assert [place.element for place in places] == ["coil 24 (drive_enable)", "coil 25 (green)"]
    assert len(shown) == 1
    assert {"Secured", "drive_enable", "green"} <= set(_words(shown[0]))


def test_a_program_in_text_has_no_networks() -> None:
    assert not DrawnProgram(shipped("ramp"))
    assert list(draw_program(shipped("ramp"))) == []


@pytest.mark.parametrize("active", ["Shut", "Opening"])
def test_a_chart_shows_its_active_steps(active: str) -> None:
    chart = parse_file(CHART, "doors.st").units[0].chart
    assert chart is not None
    svg = draw_chart(chart, "Doors", lambda step: step == active)
    assert f"Active: {active}." in svg
    words = _words(svg)
    assert {"Shut", "Opening", "Locked", "Open", "go", "NOT go", "back"} <= set(words)
    assert "D T#2s  late" in words
    assert svg.count("<circle") == 1
    assert "<circle" not in draw_chart(chart, "Doors")


def test_texts_of_a_chart_keep_apart() -> None:
    chart = parse_file(CHART, "doors.st").units[0].chart
    assert chart is not None
    boxes = []
    for e in ET.fromstring(draw_chart(chart, "Doors")).iter("{http://www.w3.org/2000/svg}text"):
        x, width = float(e.attrib["x"]), float(e.attrib.get("textLength", 8))
        left = x - width / 2 if e.attrib.get("text-anchor") == "middle" else x
        boxes.append((left, left + width, float(e.attrib["y"]), e.text))
    for n, one in enumerate(boxes):
        for other in boxes[n + 1 :]:
            apart = one[1] <= other[0] or other[1] <= one[0] or abs(one[2] - other[2]) >= 9
            assert apart, (one, other)


def test_what_decided_a_violation_is_drawn(tmp_path: Path) -> None:
    whole = (MODELS / "ramp-drawn" / "controller.xml").read_text(encoding="utf-8")
    broken = whole.replace("<variable>stop_free</variable>", "<variable>start</variable>")
    assert broken != whole
    (tmp_path / "controller.xml").write_text(broken, encoding="utf-8")
    shutil.copytree(MODELS / "ramp", tmp_path / "ramp")
    model = "title: Broken\nrevises: ramp\ncontroller: controller.xml\nchanges: [one contact]\n"
    (tmp_path / "model.yaml").write_text(model, encoding="utf-8")
    folder = tmp_path / "drawn"
    asked = ["--only", "networks", "--only", "runs", "-o", str(folder)]
    assert run(["draw", str(tmp_path), *asked]) == 1
    names = {file.stem for file in folder.glob("*.svg")}
    assert {"networks-Ramp", "networks-Secured-secured"} < names
    assert any(name.startswith("decided-") for name in names)
    decided = next(file for file in folder.glob("decided-*.svg")).read_text(encoding="utf-8")
    assert "Values as they stand after the scan" in " ".join(_words(decided))
