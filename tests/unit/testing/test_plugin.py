"""Model files under pytest: what is collected, what a failure tells, what is shared."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.testing import plugin
from tests.support.models import MODELS, shipped

pytest_plugins = ["pytester"]

N_REQUIREMENTS = len(shipped("ramp").statements)
# Two procedures stand beside the ramp; its revisions declare a pair each, one adds a requirement.
N_ITEMS = (N_REQUIREMENTS + 2) + (N_REQUIREMENTS + 1) + (N_REQUIREMENTS + 1 + 1)


@pytest.fixture
def models(pytester: pytest.Pytester) -> Path:
    """The ramp and two of its broken revisions in a folder of their own."""
    for name in ("ramp", "ramp-broken/pin-alone", "ramp-broken/dead-requirement"):
        shutil.copytree(MODELS / name, pytester.path / "models" / name)
    return pytester.path / "models"


def replaced(file: Path, old: str, new: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert old in text
    file.write_text(text.replace(old, new), encoding="utf-8")


def test_requirements_pairs_and_procedures_are_items_and_hold(
    pytester: pytest.Pytester, models: Path
) -> None:
    result = pytester.runpytest("models", "-v")
    result.assert_outcomes(passed=N_ITEMS)
    result.stdout.fnmatch_lines(
        [
            "*models/ramp/model.yaml::R1*PASSED*",
            "*models/ramp/model.yaml::procedure lower*PASSED*",
        ]
    )


def test_an_item_names_the_file_and_line_where_its_requirement_is_written(
    pytester: pytest.Pytester, models: Path
) -> None:
    items, _ = pytester.inline_genitems("models/ramp-broken/pin-alone")
    found = {item.name: item.reportinfo() for item in items}
    lines = (models / "ramp" / "model.yaml").read_text(encoding="utf-8").splitlines()
    file, line, _ = found["R3"]
    assert Path(file).resolve() == models / "ramp" / "model.yaml"
    assert line is not None
    assert lines[line].strip().startswith("R3:")
    own = (models / "ramp-broken/pin-alone/model.yaml").read_text(encoding="utf-8").splitlines()
    _, line, _ = found["expected"]
    assert line is not None
    assert own[line].startswith("expected:")


def test_a_violation_that_nobody_declared_is_told_as_a_run(
    pytester: pytest.Pytester, models: Path
) -> None:
    replaced(models / "ramp/controller.st", "secured := ramp_home AND pin_in", "secured := pin_in")
    result = pytester.runpytest("models/ramp", "-k", "R1 or R2")
    result.assert_outcomes(failed=2)
    result.stdout.fnmatch_lines(["*R1 violated: Never driving unless*", "*drives off*"])
    result.stdout.no_fnmatch_line("*Traceback*")
    result.stdout.no_fnmatch_line("*.py:*")


@pytest.mark.parametrize(
    ("declared", "said"),
    [
        ("{violated: [R1, R2, R3]}", "R3: expected to be violated, but it holds"),
        ("{violated: [R1]}", "R2: violated"),
        ("{violated: [R1, R2], vacuous: [R4]}", "R4: expected to be vacuous, but*"),
    ],
)
def test_a_surprise_fails_either_way(
    pytester: pytest.Pytester, models: Path, declared: str, said: str
) -> None:
    file = models / "ramp-broken/pin-alone/model.yaml"
    replaced(file, "expected: {violated: [R1, R2]}", f"expected: {declared}")
    result = pytester.runpytest("models/ramp-broken/pin-alone", "-rf")
    result.assert_outcomes(
        failed=2, passed=N_REQUIREMENTS - 1
    )  # the requirement itself, and the pair
    result.stdout.fnmatch_lines([said])


def test_a_requirement_that_says_nothing_fails_unless_that_is_declared(
    pytester: pytest.Pytester, models: Path
) -> None:
    file = models / "ramp-broken/dead-requirement/model.yaml"
    replaced(file, "expected: {vacuous: [R10]}", "")
    result = pytester.runpytest("models/ramp-broken/dead-requirement")
    result.assert_outcomes(failed=1, passed=N_REQUIREMENTS)
    result.stdout.fnmatch_lines(["vacuous: its premise never occurs (no component fault*"])


def test_a_limit_that_is_hit_fails_and_is_named(pytester: pytest.Pytester, models: Path) -> None:
    result = pytester.runpytest("models/ramp", "--interlock-max-states", "50", "-k", "R7")
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["undecided: limit hit, states 50;*"])


def test_a_mistake_in_a_model_is_one_line_with_its_place(
    pytester: pytest.Pytester, models: Path
) -> None:
    replaced(models / "ramp/model.yaml", "ramp = stowed AND", "ramp = stowd AND")
    result = pytester.runpytest("models")
    result.assert_outcomes(failed=3)  # the two others revise the ramp
    result.stdout.fnmatch_lines(["*model.yaml:*: 'stowd' is neither*did you mean 'stowed'?"])
    result.stdout.no_fnmatch_line("*Traceback*")
    # Whether R1 would hold nobody knows.
    pytester.runpytest("models", "-k", "R1").assert_outcomes(failed=3)


def test_a_file_of_another_tool_is_left_alone(pytester: pytest.Pytester) -> None:
    pytester.makefile(".yaml", model="layers:\n  - conv\nplant: 3\n")
    pytester.makepyfile("def test_nothing(): pass")
    pytester.runpytest().assert_outcomes(passed=1)


SMALL = {
    "quoted": """'title': A lamp
"controller": "controller.st"
"plant": {"door": {"states": ["shut", "open"], "moves": [{"from": "shut", "to": "open"}]}}
"sensors": {"door_open": {"reads": "door = open"}}
"outputs": {"lamp": {"lamp": "red"}}
"requirements": {"T1": {"says": "x", "never": "door = open AND lamp", judged: after scan}}
""",
    "indented": """
  title: A lamp
  controller: controller.st
  plant: {door: {states: [shut, open], moves: [{from: shut, to: open}]}}
  sensors: {door_open: {reads: door = open}}
  outputs: {lamp: {lamp: red}}
  requirements: {T1: {says: x, never: door = open AND lamp, judged: after scan}}
""",
    "in-brackets": """{title: A lamp, controller: controller.st,
plant: {door: {states: [shut, open], moves: [{from: shut, to: open}]}},
sensors: {door_open: {reads: door = open}}, outputs: {lamp: {lamp: red}},
requirements: {T1: {says: x, never: door = open AND lamp, judged: after scan}}}
""",
    "by-number": r"""title: A lamp
"\x63ontroller": controller.st
"\x70lant": {door: {states: [shut, open], moves: [{from: shut, to: open}]}}
"\u0073ensors": {door_open: {reads: door = open}}
outputs: {lamp: {lamp: red}}
"\x72equirements": {T1: {says: x, never: door = open AND lamp, judged: after scan}}
""",
    "with-marks": """\ufeff? title
: A lamp
? controller
: controller.st
? plant
: {door: {states: [shut, open], moves: [{from: shut, to: open}]}}
? sensors
: {door_open: {reads: door = open}}
? outputs
: {lamp: {lamp: red}}
? requirements
: {T1: {says: x, never: door = open AND lamp, judged: after scan}}
""",
}
LAMP = """PROGRAM Lamp
VAR_INPUT door_open : BOOL; END_VAR
VAR_OUTPUT lamp : BOOL; END_VAR
lamp := NOT door_open;
END_PROGRAM
"""


def small(folder: Path, text: str) -> Path:
    folder.mkdir(parents=True)
    (folder / "model.yaml").write_text(text, encoding="utf-8")
    (folder / "controller.st").write_text(LAMP, encoding="utf-8")
    return folder


def test_a_model_is_found_however_its_keys_are_written(pytester: pytest.Pytester) -> None:
    for name, text in SMALL.items():
        small(pytester.path / "models" / name, text)
        small(pytester.path / "broken" / name, text.replace("AND lamp", "AND NOT lamp"))
    revision = small(pytester.path / "models" / "later", "revises: ../quoted\ntitle: Later\n")
    (revision / "controller.st").unlink()
    pytester.runpytest(".").assert_outcomes(passed=len(SMALL) + 1, failed=len(SMALL))


UNREADABLE = {
    "plant: {door: {states: [shut, open]}\nrequirements: {}\n": "model.yaml:2:1: not valid YAML:*",
    "plant: &p {}\nrequirements: {}\n": "model.yaml:1:8: anchors and aliases*",
    "Plant: {}\nRequirements: {}\n": "model.yaml:*Plant*",
    "plant: {}\nplant: {}\nrequirements: {}\n": "model.yaml:2:1: 'plant' is given twice*",
    "plant: {}\nsensors: {}\n---\n": "model.yaml:3:1: a model file holds one document*",
    "'plant': {}\n'requirements': {}\nx: !!int 3\n": "model.yaml:3:*tags*",
    "plant: {}\nrequirements: {}\n\u202e: 3\n": "model.yaml:3:*U+202E*",
}


def test_what_looks_like_a_model_and_is_none_fails_at_its_place(pytester: pytest.Pytester) -> None:
    for number, text in enumerate(UNREADABLE):
        small(pytester.path / "models" / str(number), text)
    other = small(pytester.path / "models" / "other-encoding", "")
    (other / "model.yaml").write_text(SMALL["indented"], encoding="utf-16")
    pytester.makepyfile(test_other="def test_other(): pass")
    result = pytester.runpytest()
    result.assert_outcomes(failed=len(UNREADABLE) + 1, passed=1)
    said = [f"*/{number}/{said}" for number, said in enumerate(UNREADABLE.values())]
    said += ["*model.yaml:1:1: not UTF-8 text: byte 0xFF begins no character"]
    result.stdout.fnmatch_lines_random(said)
    result.stdout.no_fnmatch_line("*Traceback*")


FAULTY = (
    SMALL["indented"]
    + """
  faults: {F1: {says: stuck, sensor: door_open, stuck: FALSE},
    F2: {says: stuck, sensor: door_open, stuck: TRUE}}
  expected: {under: {F1: [T1], F2: [T1]}}
"""
)


def test_what_a_model_is_known_to_violate_under_a_fault_is_asked_for_each(
    pytester: pytest.Pytester,
) -> None:
    """With the switch stuck at 'shut' the lamp lies, with it stuck at 'open' it stays dark."""
    small(pytester.path / "models", FAULTY)
    result = pytester.runpytest("models", "-v")
    result.assert_outcomes(passed=2, failed=1)
    result.stdout.fnmatch_lines(
        [
            "*::expected under F1 PASSED*",
            "*::expected under F2 FAILED*",
            "T1: expected to be violated where F2 may strike: *",
        ]
    )


def test_a_common_cause_is_none_of_the_faults_that_a_claim_is_judged_under(
    pytester: pytest.Pytester,
) -> None:
    claims = FAULTY.replace("judged: after scan", "judged: after scan, survives: 1")
    common = claims.replace("stuck: FALSE}", "stuck: FALSE, common_cause: true}")
    small(pytester.path / "models", common.replace(", F2: [T1]", ""))
    result = pytester.runpytest("models", "-v", "--interlock-faults", "claimed")
    result.assert_outcomes(passed=2)


def test_an_engine_that_there_is_not_is_one_line(pytester: pytest.Pytester) -> None:
    result = pytester.runpytest("--interlock-engine", "symbolik")
    assert result.ret == pytest.ExitCode.USAGE_ERROR
    result.stderr.fnmatch_lines(["ERROR: no engine 'symbolik'; did you mean 'symbolic'?"])


def test_hazards_and_patterns_select_items(pytester: pytest.Pytester, models: Path) -> None:
    result = pytester.runpytest("models/ramp", "--collect-only", "-q", "-k", "H3")
    result.stdout.fnmatch_lines(["*::R3", "*::R4*"])
    result.stdout.no_fnmatch_line("*::R1")


def test_junit_carries_what_was_explored(pytester: pytest.Pytester, models: Path) -> None:
    pytester.runpytest("models/ramp", "-k", "R1", "--junitxml=out.xml")
    tree = ElementTree.parse(pytester.path / "out.xml")
    given = {p.get("name"): p.get("value") for p in tree.iter("property")}
    assert given["states"] == "2153"
    assert int(given["moves"] or 0) > 2153
    assert (given["engine"], given["run class"]) == ("enumerate", "no component fault")
    assert given["hazards"] == "H1"


def test_under_two_processes_the_items_of_a_model_go_to_one_of_them(
    pytester: pytest.Pytester, models: Path
) -> None:
    result = pytester.runpytest_subprocess("models", "-n", "2", "-v")
    result.assert_outcomes(passed=N_ITEMS)
    workers: dict[str, set[str]] = {}
    for line in result.outlines:
        if "PASSED" in line:
            worker, _, node = line.partition("]")[0], "", line.rpartition("PASSED ")[2]
            workers.setdefault(node.split("::")[0], set()).add(worker)
    assert len(workers) == 3
    assert all(len(found) == 1 for found in workers.values())


@pytest.mark.parametrize("dist", ["load", "worksteal", "each"])
def test_items_of_a_model_are_kept_together_however_tests_are_handed_out(
    pytester: pytest.Pytester, models: Path, dist: str
) -> None:
    config = pytester.parseconfig("models", "--tx", "2*popen", "--dist", dist)
    scheduler = plugin.pytest_xdist_make_scheduler(config, None)
    # Where every process runs everything there is nothing to keep together.
    assert (scheduler is None) == (dist == "each")


def test_starting_pytest_loads_nothing_heavy() -> None:
    code = (
        "import interlock.testing.plugin, sys; "
        "print([m for m in ('llvmlite', 'pydantic', 'rich', 'oxidd', 'click')"
        " if m in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.strip() == "[]"
