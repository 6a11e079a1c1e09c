"""Models that try to blow up, to run something or to read what is not theirs."""

from __future__ import annotations

import json
import time
from pathlib import Path

import pytest

from interlock.cli.main import run
from tests.support.gate import GATE_ST, GATE_YAML, written
from tests.support.models import MODELS

HEAD = GATE_ST.split("drive :=")[0]
N = 3000
SECONDS = 20.0  # of CPU, on a slow machine; most of them take 0.1


def program(body: str) -> tuple[str, str]:
    return GATE_YAML, f"{HEAD}{body}\nEND_PROGRAM\n"


def model(old: str, new: str) -> tuple[str, str]:
    assert old in GATE_YAML
    return GATE_YAML.replace(old, new, 1), GATE_ST


TITLE = "title: Gate"
GUARD = "when: drive, says: the gate leaves its stop"
REFUSED = {
    "brackets": (program(f"drive := {'(' * N}pressed{')' * N};"), "nested too deeply"),
    "negations": (program(f"drive := {'NOT ' * N}pressed;"), "nested too deeply"),
    "signs": (program(f"lamp := 1 = {'-' * N}1;"), "nested too deeply"),
    "nested IFs": (
        program("IF pressed THEN\n" * N + "drive := TRUE;\n" + "END_IF;\n" * N),
        "nested too deeply",
    ),
    "a long chain": (program(f"drive := pressed{' XOR shut' * N};"), "nested too deeply"),
    "a long sum": (program(f"lamp := 1 < 1{' + 1' * N};"), "nested too deeply"),
    "calls": (
        program(f"drive := {'SEL(pressed, FALSE, ' * N}shut{')' * N};"),
        "nested too deeply",
    ),
    "open comments": (program("(*" * N + "drive := pressed;"), "never closed"),
    "a huge number": (program(f"lamp := 1 < {'9' * 6000};"), "not an integer"),
    "a huge name": (program(f"{'x' * 60_000} := pressed;"), ""),
    "deep lists": (model(TITLE, f"title: {'[' * N}{']' * N}"), "nested more than 40"),
    "deep mappings": (model(TITLE, f"title: {'{a: ' * N}1{'}' * N}"), "nested more than 40"),
    "a tower of indents": (("".join(f"{' ' * n}a:\n" for n in range(1500)), GATE_ST), "nested"),
    "aliases": (
        model(TITLE, "a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\ntitle: Gate"),
        "anchors and aliases are not supported",
    ),
    "merged keys": (model(TITLE, f"<<: {{x: 1}}\n{TITLE}"), "merge keys"),
    "a tag that runs something": (
        model(TITLE, "title: !!python/object/apply:os.system ['touch pwned']"),
        "tags (!…) are not supported",
    ),
    "a template": (model(TITLE, "title: Gate\nsays: [\"{{ ''.__class__ }}\"]"), "expected"),
    "another folder's program": (
        model("controller: controller.st", "controller: ../../etc/passwd"),
        "must be a file in the model's own folder",
    ),
    "an absolute program": (
        model("controller: controller.st", "controller: /etc/passwd"),
        "must be a file in the model's own folder",
    ),
    "a long guard": (model(GUARD, f"when: '{'(' * N}drive{')' * N}'"), "at most 4000 characters"),
    "many states": (
        model("[SHUT, BETWEEN, OPEN]", f"[{', '.join(f'S{n}' for n in range(N))}]"),
        "at most 64",
    ),
    "a tower of terms": (
        model("controls:", "terms:\n" + "".join(f"  t{n}: t{n + 1}\n" for n in range(N))
              + f"  t{N}: drive\ncontrols:"),
        "terms build on each other",
    ),
    "itself revised": (("revises: .\n", GATE_ST), "in a circle"),
    "a huge scan time": (model(TITLE, f"{TITLE}\nrun: {{scan_ms: {'9' * N}}}"), "at most 60000"),
}  # fmt: skip


@pytest.mark.parametrize("what", REFUSED)
def test_it_is_refused_in_one_line_with_its_place(
    what: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    (yaml, st), says = REFUSED[what]
    folder = written(tmp_path / "model", yaml, st)
    monkeypatch.chdir(tmp_path)
    started = time.process_time()
    assert run(["verify", str(folder), "--plain"]) == 2
    assert time.process_time() - started < SECONDS
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 1
    place, _, said = lines[0].partition(": ")
    assert [part.isdigit() for part in place.split(":")[-2:]] == [True, True], lines[0][:200]
    assert says in said
    assert {p.name for p in tmp_path.iterdir()} == {"model"}


BORNE = {
    "many statements": program("drive := pressed;\n" * (N // 2)),
    "statement upon statement": program(
        "drive := drive XOR pressed;\n" * (N // 2) + "lamp := drive;"
    ),
    "a wide condition": program(f"drive := pressed{' AND pressed' * N};"),
    "many branches": program(
        f"IF pressed THEN drive := TRUE;\n{'ELSIF shut THEN drive := FALSE;' * 1000}\nEND_IF;"
    ),
}


@pytest.mark.slow
@pytest.mark.parametrize("what", BORNE)
def test_what_is_only_large_is_explored(what: str, tmp_path: Path) -> None:
    folder = written(tmp_path / "model", *BORNE[what])
    out = tmp_path / "out.json"
    run(["verify", str(folder), "--only", "R1", "--json", str(out)])
    found = json.loads(out.read_text("utf-8"))
    # Explored to its end; whether the requirement was put to the test is not what is asked here.
    assert (found["limit"], found["requirements"][0]["limit"]) == (None, None)
    assert found["n_states"] > 0


@pytest.mark.parametrize("name", ["controller.st", "model.yaml"])
def test_a_link_out_of_the_folder_is_refused(
    name: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path / "model")
    (folder / name).rename(tmp_path / "secret")
    (folder / name).symlink_to(tmp_path / "secret")
    assert run(["verify", str(folder)]) == 2
    assert "a link that leads out of the model's own folder" in capsys.readouterr().err


def test_a_link_inside_the_folder_is_no_harm(tmp_path: Path) -> None:
    folder = written(tmp_path / "model")
    (folder / "controller.st").rename(folder / "gate.st")
    (folder / "controller.st").symlink_to("gate.st")
    assert run(["verify", str(folder), "--plain"]) in (0, 1)


def test_a_folder_in_place_of_a_file_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = written(tmp_path / "model")
    (folder / "controller.st").unlink()
    (folder / "controller.st").mkdir()
    assert run(["verify", str(folder)]) == 2
    assert "there is no program in it" in capsys.readouterr().err


@pytest.mark.parametrize("engine", ["reference", "enumerate", "symbolic"])
def test_memory_that_runs_out_leaves_it_undecided(engine: str, tmp_path: Path) -> None:
    """The limit is kept by the engines themselves; nothing is ever called 'holds' for it."""
    file = tmp_path / "out.json"
    wanted = ["--only", "R01", "--faults", "none", "--engine", engine, "--max-memory", "1"]
    code = run(["verify", str(MODELS / "wren"), "--plain", *wanted, "--json", str(file)])
    (found,) = json.loads(file.read_text())["requirements"]
    assert (code, found["outcome"]) == (3, "undecided")
