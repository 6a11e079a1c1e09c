"""``interlock verify`` as a user meets it: exit codes, messages, files."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import pytest

from interlock.cli.main import run
from tests.support.gate import GATE_YAML, written


@pytest.fixture
def broken(tmp_path: Path) -> Path:
    folder = written(tmp_path / "gate")
    program = (folder / "controller.st").read_text()
    (folder / "controller.st").write_text(program.replace("shut AND NOT drive", "NOT drive"))
    return folder


def test_holds_is_exit_0(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", str(written(tmp_path / "gate"))]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "4 holds" in said
    assert "no violation was found" in said
    assert "proved safe" not in said.casefold()


def test_violated_is_exit_1_and_tells_the_run(
    broken: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(broken), "--plain"]) == 1
    said = capsys.readouterr().out
    assert "R1 violated" in said
    assert "H1: caught in the gate" in said
    assert "the gate leaves its stop" in said
    assert "lamp on" in said
    assert "controller.st:5" in said


def test_every_step_of_a_run_is_told_or_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # Two scans change only what the program remembers.
    (tmp_path / "main.st").write_text(
        "PROGRAM p VAR_OUTPUT q : BOOL; END_VAR VAR n : INT (0..3); END_VAR\n"
        "IF n < 3 THEN n := n + 1; END_IF\nq := n = 3;\nEND_PROGRAM\n"
    )
    (tmp_path / "model.yaml").write_text(
        "title: It counts\ncontroller: main.st\nrequirements: {R1: {says: no, never: q}}\n"
    )
    assert run(["verify", str(tmp_path), "--plain"]) == 1
    said = " ".join(capsys.readouterr().out.split())
    assert "a shortest run, 3 steps, replayed on the model: 3 controller scans q on" in said
    assert "not listed: 2 scans that change nothing to be seen" in said


def test_a_typo_in_a_sensor_is_exit_2_with_its_place(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path / "gate", GATE_YAML.replace("  shut: {", "  shutt: {"))
    assert run(["verify", str(folder)]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert "model.yaml:13:3: 'shutt' is not a VAR_INPUT of the program; did you mean 'shut'?" in err
    assert "Traceback" not in err


def test_a_limit_is_exit_3(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["verify", str(written(tmp_path / "gate")), "--max-states", "3", "--plain"]) == 3
    assert "undecided (states 3" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["verify", "nowhere"], "no such file"),
        (["verify"], "Missing argument 'MODEL'"),
        (["verify", "GATE", "--only", "R9"], "no requirement 'R9'"),
        (["verify", "GATE", "--engine", "simbolic"], "did you mean 'symbolic'?"),
        (["verify", "GATE", "--max-states", "-1"], "Invalid value for '--max-states'"),
        (["verifi"], "No such command 'verifi'"),
    ],
)
def test_mistakes_on_the_command_line_are_one_clear_message_and_exit_2(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    folder = str(written(tmp_path / "gate"))
    assert run([folder if a == "GATE" else a for a in arguments]) == 2
    out, err = capsys.readouterr()
    assert said in err
    assert out == ""
    assert "Traceback" not in err


def test_json_and_junit_are_the_same_bytes_twice(broken: Path, tmp_path: Path) -> None:
    written_bytes = []
    for name in ("first", "second"):
        folder = tmp_path / name
        arguments = ["--json", str(folder / "r.json"), "--junit", str(folder / "r.xml")]
        assert run(["verify", str(broken), *arguments]) == 1
        written_bytes.append([(folder / "r.json").read_bytes(), (folder / "r.xml").read_bytes()])
    assert written_bytes[0] == written_bytes[1]


def test_json_tells_outcome_run_and_hashes(
    broken: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["verify", str(broken), "--json", "-"]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["outcome"] == "violated"
    assert set(data["inputs"]) == {"model.yaml", "controller.st"}
    first = data["requirements"][0]
    assert first["outcome"] == "violated"
    assert first["run"]["moves"][-1] == "scan"
    assert "seconds" not in json.dumps(data)
    soon = "no more than 500,000 states, which are soon listed"
    for answered in (data, *data["requirements"]):
        assert (answered["engine"], answered["engine_because"]) == ("enumerate", soon)


def test_an_independent_library_reads_the_junit_file(broken: Path, tmp_path: Path) -> None:
    library = pytest.importorskip("junitparser")
    file = tmp_path / "r.xml"
    run(["verify", str(broken), "--junit", str(file)])
    (suite,) = library.JUnitXml.fromfile(str(file))
    cases = {case.name.split()[0]: case for case in suite}
    assert suite.tests == len(cases) == 4
    failed = [name for name, case in cases.items() if case.result]
    assert (suite.failures, failed) == (1, ["R1"])


def test_junit_counts_failures(broken: Path, tmp_path: Path) -> None:
    file = tmp_path / "r.xml"
    run(["verify", str(broken), "--junit", str(file)])
    suite = ElementTree.parse(file).getroot()
    assert (suite.get("tests"), suite.get("failures"), suite.get("errors")) == ("4", "1", "0")


def test_a_mistake_leaves_an_earlier_file_alone(tmp_path: Path) -> None:
    earlier = tmp_path / "r.json"
    earlier.write_text("earlier")
    folder = written(tmp_path / "gate", GATE_YAML.replace("title", "titel"))
    assert run(["verify", str(folder), "--json", str(earlier)]) == 2
    assert earlier.read_text() == "earlier"
