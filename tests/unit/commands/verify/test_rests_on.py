"""JUnit and SARIF say what the verdicts rest on, as the table and the JSON do."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from interlock.cli.main import run
from tests.support.gate import GATE_ST, GATE_YAML, written

ONE = "run: {between_scans: one in all}\nassumptions: [nobody climbs over]\ncautions: [walk it]\n"
YAML = GATE_YAML.replace("plant:\n", f"{ONE}plant:\n", 1)
# 'free' has no sensor, and a text is left out.
ST = GATE_ST.replace("shut, pressed : BOOL;", "shut, pressed, free : BOOL;")
ST = ST.replace("lamp : BOOL; END_VAR", "lamp : BOOL; END_VAR\nVAR note : STRING; END_VAR")
ST = ST.replace("drive := pressed;", "note := 'x';\ndrive := pressed AND (free OR TRUE);")
BETWEEN = "at most one move in all between two scans"


@pytest.fixture
def files(tmp_path: Path) -> dict[str, Path]:
    model = written(tmp_path / "model", YAML, ST)
    found = {name: tmp_path / f"found.{name}" for name in ("junit", "sarif", "json")}
    options = [word for name, file in found.items() for word in (f"--{name}", str(file))]
    assert run(["verify", str(model), "--ledger", "--faults", "none", *options]) == 0
    return found


def test_a_test_suite_has_what_its_verdicts_rest_on_as_properties(files: dict[str, Path]) -> None:
    suite = ElementTree.parse(files["junit"]).getroot()
    # Properties come first in a suite, as the format has it.
    assert suite[0].tag == "properties"
    found: dict[str, list[str]] = {}
    for one in suite[0]:
        found.setdefault(one.attrib["name"], []).append(one.attrib["value"])
    _check(found)


def test_a_sarif_run_has_what_its_results_rest_on_among_its_properties(
    files: dict[str, Path],
) -> None:
    (sarif,) = json.loads(files["sarif"].read_text(encoding="utf-8"))["runs"]
    found: dict[str, list[str]] = {}
    for one in sarif["properties"]["restsOn"]:
        found.setdefault(one["what"], []).append(one["says"])
    _check(found)
    told: dict[str, Any] = json.loads(files["json"].read_text(encoding="utf-8"))
    assert sarif["properties"]["ledger"] == told["ledger"]


def _check(found: dict[str, list[str]]) -> None:
    assert found["between scans"] == [BETWEEN]
    assert found["run class"] == ["no component fault"]
    assert found["assumption"] == ["nobody climbs over"]
    assert found["caution"] == ["walk it"]
    assert found["free input"] == ["free: FALSE, TRUE"]
    assert found["left out"] == ["controller.st:5: left out: it depends on a text"]
    assert found["ledger"] == [
        "R1, R2, R3, R4: hold with 'any number' as well.",
        "R1 holds where each scan reads what its sensors give; with values one scan old it falls "
        "in 9 steps.",
        "R2, R3, R4: hold with values one scan old as well.",
    ]
