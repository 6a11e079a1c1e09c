"""Evidence of the ramp: confirmed as it is, and refused however it is tampered with."""

from __future__ import annotations

import io
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from interlock.base.errors import InputError
from interlock.base.files import sha256
from interlock.cli.main import run
from interlock.commands.recheck.check import recheck
from interlock.commands.recheck.results import Recheck, Status
from interlock.engines.symbolic import certify
from interlock.evidence.asked import asked, state_after
from interlock.evidence.folder import read_folder
from interlock.evidence.manifest import Manifest, outline_of, parse, to_text
from interlock.evidence.obligations import script
from interlock.evidence.script import OBLIGATIONS, SETS
from interlock.evidence.sets import read_sets
from interlock.model.build import build
from interlock.model.load import load
from tests.support.gate import GATE_YAML, written
from tests.support.hoist import hoist
from tests.support.models import MODELS
from tests.support.smtlib import Checker

RAMP = MODELS / "ramp"
_KEPT = TemporaryDirectory()


def one_by_one(name: str) -> Path:
    """A copy with one move between two scans: its invariant may be of the states behind a scan."""
    folder = Path(shutil.copytree(MODELS / name, Path(_KEPT.name) / name))
    text = (folder / "model.yaml").read_text("utf-8")
    # What the ramp says its revisions inherit.
    text = re.sub("^run:$", "run:\n  between_scans: one in all", text, flags=re.MULTILINE)
    (folder / "model.yaml").write_text(text, "utf-8")
    return folder


RAMP_ONE_BY_ONE = one_by_one("ramp")
BROKEN = one_by_one("ramp-broken/pin-alone")


def evidence_of(model: Path, folder: Path) -> Path:
    assert run(["verify", str(model), "--plain", "--evidence", str(folder)]) in (0, 1)
    return folder


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return evidence_of(BROKEN, tmp_path_factory.mktemp("whole") / "evidence")


@pytest.fixture
def copied(whole: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(whole, tmp_path / "evidence"))


def statuses(found: Recheck) -> dict[str, Status]:
    return {r.requirement: r.status for r in found.results}


def refusal(folder: Path, model: Path = BROKEN) -> str:
    """The one line with which evidence is refused."""
    with pytest.raises(InputError) as error:
        recheck(folder, model)
    (mistake,) = error.value.mistakes
    assert mistake.place.line >= 1
    assert "\n" not in str(mistake)
    return str(mistake)


def resealed(folder: Path, change: Callable[[dict], None]) -> None:  # type: ignore[type-arg]
    """Change the manifest as a forger would: with right hashes and a right seal."""
    file = folder / "manifest.json"
    data = json.loads(file.read_text())
    del data["seal"]
    change(data)
    for name in data["files"]:
        if (folder / name).exists():
            data["files"][name] = sha256((folder / name).read_bytes())
    file.write_text(to_text(Manifest.model_validate(data)))


@pytest.mark.parametrize("name", ["ramp", "ramp-broken/pin-alone"])
def test_the_evidence_of_a_model_is_confirmed(name: str, tmp_path: Path) -> None:
    folder = evidence_of(MODELS / name, tmp_path / "evidence")
    found = recheck(folder)
    assert set(statuses(found).values()) == {Status.CONFIRMED}
    assert not found.not_asked
    assert found.n_obligations > 40
    violated = {r.requirement for r in found.results if r.outcome == "violated"}
    assert violated == (set() if name == "ramp" else {"R1", "R2"})


SURVIVING = re.sub(
    r"(can_still: gate = SHUT|only_after: button|= SHUT OR button)}", r"\1, survives: 1}", GATE_YAML
)


@pytest.mark.parametrize("worth", [0, 2000])
@pytest.mark.parametrize("name", ["gate", "hoist"])
def test_evidence_under_a_fault_is_confirmed_in_cases_and_as_a_whole(
    name: str, worth: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What jams, what restarts, what comes and goes; requirements kept and broken by it."""
    model = tmp_path / name
    if name == "gate":
        written(model, SURVIVING)
    else:
        hoist(model)
    monkeypatch.setattr(certify, "WORTH_SPLITTING", worth)
    folder = evidence_of(model, tmp_path / "evidence")
    manifest = read_folder(folder).manifest
    classes = {n: c for n, c in manifest.classes.items() if c.at_most == 1}
    under_fault = [s for s in manifest.systems.values() if s.run_class in classes]
    assert under_fault
    assert all(len(s.invariant.cases) > 3 for s in under_fault) is (worth == 0)
    assert {v.outcome for v in manifest.verdicts.values()} == {"holds", "violated"}
    assert set(statuses(recheck(folder, model)).values()) == {Status.CONFIRMED}


@pytest.mark.slow
def test_the_evidence_of_the_landing_gear_is_confirmed(tmp_path: Path) -> None:
    folder = evidence_of(MODELS / "landing-gear-untimed", tmp_path / "evidence")
    assert set(statuses(recheck(folder)).values()) == {Status.CONFIRMED}


def test_exit_codes_tell_holds_from_violated(whole: Path, tmp_path: Path) -> None:
    assert run(["recheck", str(whole), "--model", str(BROKEN)]) == 1
    assert run(["recheck", str(evidence_of(RAMP, tmp_path / "e")), "--model", str(RAMP)]) == 0
    assert run(["recheck", str(tmp_path / "nothing")]) == 2


def test_evidence_that_leaves_requirements_out_is_not_enough(
    copied: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    some = tmp_path / "some"
    only = ["--only", "R3", "--only", "R8"]
    assert run(["verify", str(RAMP), "--plain", "--evidence", str(some), *only]) == 0
    assert run(["recheck", str(some), "--model", str(RAMP)]) == 3
    assert "R1  the evidence says nothing of it" in capsys.readouterr().out
    # A confirmed violation is one, whatever else is missing.
    resealed(copied, lambda data: data["verdicts"].pop("R3"))
    assert run(["recheck", str(copied), "--model", str(BROKEN)]) == 1
    resealed(copied, lambda data: [data["verdicts"].pop(id_) for id_ in ("R1", "R2")])
    for file in (copied / "runs").iterdir():
        file.unlink()
    resealed(copied, lambda data: [data["files"].pop(f"runs/{id_}.json") for id_ in ("R1", "R2")])
    assert run(["recheck", str(copied), "--model", str(BROKEN)]) == 3


def test_scripts_are_well_formed_and_ask_as_often_as_is_told(whole: Path) -> None:
    n_checks = 0
    for file in sorted(whole.glob("*.smt2")):
        checker = Checker()
        checker.run(file.read_text())
        n_checks += checker.n_checks
    assert n_checks == recheck(whole, BROKEN).n_obligations


def test_an_independent_library_reads_the_scripts_as_smt_lib(whole: Path) -> None:
    """The library pySMT parses and builds every term by its own rules."""
    parser = pytest.importorskip("pysmt.smtlib.parser")
    errors = pytest.importorskip("pysmt.exceptions")
    for file in sorted(whole.glob("*.smt2")):
        text = file.read_text()
        read = parser.SmtLibParser().get_script(io.StringIO(text))
        assert sum(c.name == "check-sat" for c in read.commands) == text.count("(check-sat)") > 0
        with pytest.raises(errors.PysmtException):
            parser.SmtLibParser().get_script(io.StringIO(text.replace("(pop 1)", "(pop 1", 1)))


def test_the_same_verification_writes_the_same_bytes(whole: Path, tmp_path: Path) -> None:
    again = evidence_of(BROKEN, tmp_path / "again" / "evidence")
    for file in whole.rglob("*.*"):
        if file.name != "manifest.json":  # it says where the model lies
            assert file.read_bytes() == (again / file.relative_to(whole)).read_bytes()


@given(data=st.data())
@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
def test_a_changed_byte_anywhere_is_noticed(
    data: st.DataObject, whole: Path, tmp_path_factory: pytest.TempPathFactory
) -> None:
    names = sorted(p.relative_to(whole) for p in whole.rglob("*") if p.is_file())
    name = data.draw(st.sampled_from(names))
    content = bytearray((whole / name).read_bytes())
    place = data.draw(st.integers(0, len(content) - 1))
    content[place] ^= data.draw(st.integers(1, 255))
    folder = tmp_path_factory.mktemp("flipped") / "evidence"
    shutil.copytree(whole, folder)
    (folder / name).write_bytes(content)
    with pytest.raises(InputError) as error:
        read_folder(folder)
    assert len(error.value.mistakes) == 1
    shutil.rmtree(folder)


def test_every_missing_file_is_noticed(whole: Path, tmp_path: Path) -> None:
    for number, name in enumerate(["manifest.json", "system-1.smt2", "runs/R1.json"]):
        folder = shutil.copytree(whole, tmp_path / str(number))
        (folder / name).unlink()
        assert "missing" in refusal(folder)
    assert "no such folder" in refusal(tmp_path / "nowhere")


def test_a_file_too_many_is_noticed(copied: Path) -> None:
    (copied / "system-9.smt2").write_text("(check-sat)\n")
    assert "the manifest knows no such file" in refusal(copied)


def test_a_link_in_place_of_a_file_is_noticed(copied: Path, tmp_path: Path) -> None:
    (copied / "system-1.smt2").rename(tmp_path / "elsewhere")
    (copied / "system-1.smt2").symlink_to(tmp_path / "elsewhere")
    assert "not a file of its own" in refusal(copied)


def test_a_changed_model_is_noticed(copied: Path, tmp_path: Path) -> None:
    model = Path(shutil.copytree(RAMP, tmp_path / "ramp"))
    folder = evidence_of(model, tmp_path / "of ramp")
    text = (model / "controller.st").read_text()
    (model / "controller.st").write_text(text.replace("AND NOT pin_pull", ""))
    said = refusal(folder, model)
    assert "the model has changed since the evidence was written: controller.st" in said


def test_evidence_of_another_model_is_noticed(copied: Path) -> None:
    assert "the model has changed since" in refusal(copied, RAMP)


def forged(folder: Path, old: str, new: str) -> None:
    file = folder / "system-1.smt2"
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new, 1))
    resealed(folder, lambda _data: None)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("(assert (not (s0", "(assert (and false (s0"),
        ("(check-sat)", "(check-sat)\n(check-sat)"),
        ("(push 1)\n", "(push 1)\n(assert false)\n"),
        ("(define-fun e0 () Bool (= |v.ramp| #b00))", "(define-fun e0 () Bool false)"),
        ("(declare-const |v.pin| Bool)\n", ""),
        ("(set-logic QF_BV)", "(set-logic ALL)"),
        ("; the invariant implies R3.1", "; the invariant implies R1.1"),
    ],
)
def test_obligations_of_something_else_are_noticed(copied: Path, old: str, new: str) -> None:
    forged(copied, old, new)
    assert "this line is not what the model gives" in refusal(copied)


def test_a_missing_obligation_is_noticed(copied: Path) -> None:
    text = (copied / "system-1.smt2").read_text()
    start = text.index("; the invariant is kept by: scan")
    forged(copied, text[start : text.index("; ", start + 2)], "")
    assert "this line is not what the model gives" in refusal(copied)


def test_a_definition_that_is_no_set_is_noticed_at_its_line(copied: Path) -> None:
    forged(copied, "\n; the obligations", "\n(assert false)\n; the obligations")
    said = refusal(copied)
    assert "expected the definition of s" in said
    assert int(said.split(":")[1]) > 100


def weakened(folder: Path, text: str, model: Path = BROKEN) -> dict[str, Status]:
    """What becomes of the ramp's evidence with another first set."""
    file = folder / "system-1.smt2"
    script = file.read_text()
    start = script.index("(define-fun s0 ")
    end = script.index("\n(define-fun s1 ", start)
    parameters = script[script.index("(", start + 1) : script.index(" Bool\n", start)]
    old = script[start:end]
    file.write_text(script.replace(old, text.format(parameters=parameters)))
    resealed(folder, lambda _data: None)
    return statuses(recheck(folder, model))


def test_all_states_are_no_invariant_for_the_requirements(tmp_path: Path) -> None:
    folder = evidence_of(RAMP_ONE_BY_ONE, tmp_path / "evidence")
    found = weakened(folder, "(define-fun s0 {parameters} Bool\ntrue)", RAMP_ONE_BY_ONE)
    assert found["R1"] is Status.REFUTED
    assert found["R7"] is Status.CONFIRMED  # whatever the scan reads, it never lights both lamps


def test_no_state_is_no_invariant(copied: Path) -> None:
    found = weakened(copied, "(define-fun s0 {parameters} Bool\nfalse)")
    elsewhere = ("R1", "R2", "R4b", "R5")  # runs, and what needs observers
    assert {s for id_, s in found.items() if id_ not in elsewhere} == {Status.REFUTED}
    assert run(["recheck", str(copied), "--model", str(BROKEN)]) == 2


def without_stay(data: dict) -> None:  # type: ignore[type-arg]
    data["systems"]["system-1"]["stays"].clear()


def other_debt(data: dict) -> None:  # type: ignore[type-arg]
    for steps in data["systems"]["system-1"]["stays"].values():
        steps[0][1] = "panel to START"


def other_system(data: dict) -> None:  # type: ignore[type-arg]
    data["verdicts"]["R3"]["system"] = "system-2"


def no_evidence(data: dict) -> None:  # type: ignore[type-arg]
    data["verdicts"]["R3"]["system"] = None


def now_it_holds(data: dict) -> None:  # type: ignore[type-arg]
    data["verdicts"]["R1"] |= {"outcome": "holds", "system": "system-1"}


def swapped_runs(data: dict) -> None:  # type: ignore[type-arg]
    data["verdicts"]["R3"] |= {"outcome": "violated", "run": "runs/R1.json", "system": None}


def far_set(data: dict) -> None:  # type: ignore[type-arg]
    next(iter(data["systems"]["system-1"]["ladders"].values()))["rungs"][0][0] = 999


def other_run_home(data: dict) -> None:  # type: ignore[type-arg]
    ladders = list(data["systems"]["system-1"]["ladders"].values())
    ladders[-1]["run"] = ["scan"]


def dead_end_beside_a_ladder(data: dict) -> None:  # type: ignore[type-arg]
    data["systems"]["system-1"]["dead_ends"]["R8.1"] = 0
    data["verdicts"]["R8"] |= {"outcome": "violated", "run": "runs/R1.json"}


def invariant_of(data: dict) -> dict:  # type: ignore[type-arg]
    found: dict = data["systems"]["system-1"]["invariant"]  # type: ignore[type-arg]
    return found


def of_all_states(data: dict) -> None:  # type: ignore[type-arg]
    invariant_of(data)["scanned"] = False


def no_case(data: dict) -> None:  # type: ignore[type-arg]
    invariant_of(data)["cases"] = []


def case_twice(data: dict) -> None:  # type: ignore[type-arg]
    invariant_of(data)["cases"] *= 2


def case_of_more(data: dict) -> None:  # type: ignore[type-arg]
    invariant_of(data)["cases"][0][0].append(1)


def unknown_split(data: dict) -> None:  # type: ignore[type-arg]
    invariant_of(data)["split"] = ["hatch"]


def split_twice(data: dict) -> None:  # type: ignore[type-arg]
    invariant_of(data)["split"] = ["pin", "pin"]


def rung_by_nothing(data: dict) -> None:  # type: ignore[type-arg]
    next(iter(data["systems"]["system-1"]["ladders"].values()))["rungs"][1][1] = "magic"


def unknown_requirement(data: dict) -> None:  # type: ignore[type-arg]
    data["verdicts"]["R33"] = data["verdicts"]["R3"]


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (without_stay, "this line is not what the model gives"),
        (other_debt, "nothing owes 'panel to START'"),
        (other_system, "no system 'system-2'"),
        (no_evidence, "there is no evidence that it is holds"),
        (now_it_holds, "R1: 'system-1' is not evidence of it"),
        (swapped_runs, "the run does not violate R3"),
        (far_set, "there are only"),
        (of_all_states, "this line is not what the model gives"),
        (no_case, "this line is not what the model gives"),
        (case_twice, "a variable or a case of the invariant is listed twice"),
        (case_of_more, "a case of the invariant needs 0 values"),
        (unknown_split, "the model has no variable 'hatch'"),
        (split_twice, "a variable or a case of the invariant is listed twice"),
        (rung_by_nothing, "this line is not what the model gives"),
        (other_run_home, "R9.1: the run from home does not end in the goal"),
        (dead_end_beside_a_ladder, "this line is not what the model gives"),
        (unknown_requirement, "'R33' is not a requirement of the model"),
    ],
)
def test_a_forged_manifest_with_a_right_seal_is_noticed(
    copied: Path,
    change: Callable[[dict], None],  # type: ignore[type-arg]
    says: str,
) -> None:
    resealed(copied, change)
    assert says in refusal(copied)


def asked_anew(folder: Path, change: Callable[[dict], None]) -> None:  # type: ignore[type-arg]
    """Change the manifest, and let the script ask what follows from that."""
    resealed(folder, change)
    evidence = read_folder(folder)
    entry = evidence.manifest.systems["system-1"]
    here = asked(build(load(BROKEN)), entry.requirements)
    moves = json.loads(evidence.files["runs/R1.json"])["moves"]
    ends = dict.fromkeys(entry.dead_ends, state_after(here.system, moves))
    file = folder / "system-1.smt2"
    _, sets = file.read_text().split(SETS)
    sets = sets.split(OBLIGATIONS)[0]
    functions = read_sets(sets, here.system, entry.sets)
    outline = outline_of(entry, here.queries, ends)
    file.write_text(script(here.system, outline, sets, functions).text)
    resealed(folder, lambda _data: None)


def test_a_proof_missing_from_manifest_and_script_is_noticed(copied: Path) -> None:
    asked_anew(copied, without_stay)
    assert "R6: there is no evidence of R6.1" in refusal(copied)


def test_a_dead_end_beside_a_ladder_is_refuted(copied: Path) -> None:
    asked_anew(copied, dead_end_beside_a_ladder)
    found = statuses(recheck(copied, BROKEN))
    assert (found["R8"], found["R9"]) == (Status.REFUTED, Status.CONFIRMED)


@pytest.mark.parametrize("change", [of_all_states, no_case])
def test_another_invariant_in_manifest_and_script_is_refuted(
    copied: Path,
    change: Callable[[dict], None],  # type: ignore[type-arg]
) -> None:
    asked_anew(copied, change)
    found = statuses(recheck(copied, BROKEN))
    assert {found[id_] for id_ in ("R3", "R4", "R6", "R7", "R8", "R9")} == {Status.REFUTED}


def test_rungs_by_moves_that_lead_elsewhere_are_refuted(copied: Path) -> None:
    asked_anew(copied, rung_by_nothing)
    found = statuses(recheck(copied, BROKEN))
    assert (found["R3"], found["R8"], found["R9"]) == (
        Status.CONFIRMED,
        Status.REFUTED,
        Status.REFUTED,
    )


def test_a_step_less_in_a_proof_is_refuted_or_noticed(copied: Path) -> None:
    def change(data: dict) -> None:  # type: ignore[type-arg]
        entry = data["systems"]["system-1"]["ladders"]
        next(iter(entry.values()))["rungs"].pop()

    resealed(copied, change)
    assert "this line is not what the model gives" in refusal(copied)


def test_an_obligation_that_takes_too_long_is_undecided(
    whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from interlock.commands.recheck import solve

    monkeypatch.setattr(solve, "show", lambda _o: '(echo "unknown")\n')
    found = recheck(whole, BROKEN)
    assert statuses(found)["R3"] is Status.UNDECIDED
    assert run(["recheck", str(whole), "--model", str(BROKEN)]) == 1  # its runs were replayed
    ramp = evidence_of(RAMP, tmp_path / "evidence")
    assert run(["recheck", str(ramp), "--model", str(RAMP)]) == 3


def test_what_was_cut_short_is_told_as_not_checkable(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(certify, "MOST_NODES", 90)
    folder = evidence_of(RAMP, tmp_path / "evidence")
    assert "R8 is not re-checkable: its certificate has more than 90 nodes" in (
        capsys.readouterr().out
    )
    found = recheck(folder, RAMP)
    assert statuses(found)["R8"] is Status.OPEN
    assert statuses(found)["R1"] is Status.CONFIRMED
    assert run(["recheck", str(folder), "--model", str(RAMP)]) == 3


def test_what_is_no_evidence_is_not_overwritten(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine")
    assert run(["verify", str(RAMP), "--plain", "--evidence", str(tmp_path)]) == 2
    assert (tmp_path / "notes.txt").read_text() == "mine"


def test_a_manifest_reads_back_as_it_was_written(whole: Path) -> None:
    content = (whole / "manifest.json").read_bytes()
    assert to_text(parse(content, "manifest.json")).encode() == content


@pytest.mark.parametrize(
    "content", [b"", b"[]", b"{", b"{}", b"\xff", b'{"seal": 1}', b"[" * 100_000, b'{"a": NaN}']
)
def test_what_is_no_manifest_is_refused(content: bytes) -> None:
    with pytest.raises(InputError) as error:
        parse(content, "manifest.json")
    assert "manifest" in str(error.value)
