"""Several controllers in time: each scans by its own period, in any phase to the others.

Every edge below is plain arithmetic on the periods, told beside it, and is asked on both sides.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.base.errors import InputError
from interlock.cli.main import run
from interlock.engines import catalogue
from interlock.judgement.verify import verify
from interlock.model.build import FAULT_FREE, RunClass
from interlock.model.load import load
from interlock.model.model import Model

YAML = """\
title: Two in time
run: {{time: {{unit: 10 ms}}}}
controllers:
  a: {{program: a.st, {a}}}
  b: {{program: b.st, {b}}}
controls: {{key: {{}}}}
sensors:
  k: {{reads: key}}
  {message}
terms: {{stopped: halted}}
requirements:
  R: {{says: asked, {asked}}}
faults:
  halted: {{says: stands still, intermittent: true}}
"""
HEADS = {
    "a": "VAR_INPUT k : BOOL; END_VAR VAR_OUTPUT x : BOOL; END_VAR",
    "b": "VAR_INPUT {read} : BOOL; END_VAR VAR_OUTPUT y : BOOL; END_VAR",
}


def written(
    folder: Path, a: str, b: str, asked: str, periods: tuple[str, str], message: str = ""
) -> Path:
    """Programs that read the key as ``k`` and write ``x`` and ``y``; b may hear a's message."""
    read = "k, heard" if message else "k"
    for name, body in (("a", a), ("b", b)):
        head = HEADS[name].format(read=read)
        text = f"PROGRAM {name}\n{head}\n{body}\nEND_PROGRAM\n"
        (folder / f"{name}.st").write_text(text, encoding="utf-8")
    yaml = YAML.format(a=periods[0], b=periods[1], asked=asked, message=message)
    (folder / "model.yaml").write_text(yaml, encoding="utf-8")
    return folder


def outcome(model: Model, run_class: RunClass = FAULT_FREE, engine: str = "enumerate") -> str:
    (finding,) = verify(model, catalogue()[engine](), run_class, ["R"]).findings
    return finding.outcome.value


# Up for one scan of a, and down for the next three.
PULSE = "VAR n : INT (0..3); END_VAR n := (n + 1) MOD 4; x := n = 1;"
HEARS = "IF heard THEN y := TRUE; END_IF;"
PROMPT = "heard: {reads: x, age: 0 scans}"


@pytest.mark.parametrize(
    ("period", "expected"),
    [
        # A pulse of 100 ms is missed where it begins just behind a scan and ends just before one.
        ("scan_ms: 90", "holds"),
        ("scan_ms: 100", "violated"),
        ("scan: [10 ms, 90 ms]", "holds"),
        ("scan: [10 ms, 100 ms]", "violated"),
        ("scan_ms: 150", "violated"),
    ],
)
@pytest.mark.parametrize("engine", ["enumerate", "symbolic"])
def test_a_pulse_is_missed_where_no_scan_comes_while_it_lasts(
    tmp_path: Path, period: str, expected: str, engine: str
) -> None:
    asked = "whenever: x, leads_to: y, within: 100 ms"
    folder = written(tmp_path, PULSE, HEARS, asked, ("scan_ms: 100", period), PROMPT)
    assert outcome(load(folder), engine=engine) == expected


@pytest.mark.parametrize(("ms", "expected"), [(100, "holds"), (90, "violated")])
def test_scans_of_one_period_need_not_be_in_step(tmp_path: Path, ms: int, expected: str) -> None:
    # One sees the key at once, the other a whole period later.
    asked = f"lasts: key AND x AND NOT y, at_most: {ms} ms"
    folder = written(tmp_path, "x := k;", "y := k;", asked, ("scan_ms: 100", "scan_ms: 100"))
    assert outcome(load(folder)) == expected


TIMED = "VAR t : TON; END_VAR t(IN := k, PT := T#{}ms); {} := t.Q;"


@pytest.mark.parametrize(
    ("output", "ms", "expected"),
    [
        # A scan that sees it, the preset time, and a scan that sees this.
        ("x", 100 + 300 + 100, "holds"),
        ("x", 100 + 300 + 90, "violated"),
        ("y", 20 + 600 + 20, "holds"),
        ("y", 20 + 600 + 10, "violated"),
    ],
)
def test_each_timer_is_of_its_own_controller(
    tmp_path: Path, output: str, ms: int, expected: str
) -> None:
    bodies = TIMED.format(300, "x"), TIMED.format(600, "y")
    asked = f"whenever: key, leads_to: {output} OR NOT key, within: {ms} ms"
    folder = written(tmp_path, *bodies, asked, ("scan_ms: 100", "scan_ms: 20"))
    assert outcome(load(folder)) == expected


def test_who_scans_again_may_do_so_at_once(tmp_path: Path) -> None:
    asked = "once: x, at_least: 100 ms"
    periods = "scan_ms: 100, scans_while: NOT halted", "scan_ms: 100"
    model = load(written(tmp_path, "x := NOT x;", "y := k;", asked, periods))
    assert outcome(model) == "holds"
    assert outcome(model, RunClass(("halted",), 1)) == "violated"


@pytest.mark.parametrize(("ms", "expected"), [(100, "holds"), (90, "violated")])
def test_who_scans_again_does_so_within_its_time(tmp_path: Path, ms: int, expected: str) -> None:
    asked = f"lasts: NOT y AND NOT stopped, at_most: {ms} ms"
    periods = "scan_ms: 100", "scan: [50 ms, 100 ms], scans_while: NOT halted"
    model = load(written(tmp_path, "x := k;", "y := TRUE;", asked, periods))
    assert outcome(model, RunClass(("halted",), 1)) == expected


def test_a_unit_that_passes_follows_no_scan(tmp_path: Path) -> None:
    # While the key is up y falls with the next scan of b, and not before.
    asked = "never: y AND NOT key, judged: after scan of b"
    folder = written(tmp_path, "x := k;", "y := k;", asked, ("scan_ms: 30", "scan_ms: 30"))
    assert outcome(load(folder)) == "holds"


def test_a_period_that_is_given_for_all_is_that_of_each(tmp_path: Path) -> None:
    given = ("time: {unit: 10 ms}", "time: {unit: 10 ms, scan: [80 ms, 120 ms]}")
    folder = written(tmp_path, "x := k;", "y := k;", "never: x AND NOT x", ("", "scan_ms: 20"))
    file = folder / "model.yaml"
    file.write_text(file.read_text(encoding="utf-8").replace(*given), encoding="utf-8")
    timing = load(folder).timing
    assert timing is not None
    assert timing.scans == "scans of a 80 to 120 ms apart, of b 20 ms apart"
    assert "by one clock" not in timing.says


def test_controllers_that_never_drift_are_told(tmp_path: Path) -> None:
    folder = written(
        tmp_path, "x := k;", "y := k;", "never: x AND NOT x", ("scan_ms: 100", "scan_ms: 20")
    )
    timing = load(folder).timing
    assert timing is not None
    assert "scans of a 100 ms apart, of b 20 ms apart, a and b by one clock that" in timing.says


REFUSED = {
    "no period": ("x := k;", "", "time needs the period of the scan: 'scan_ms' or 'scan' here"),
    "a span the wrong way round": (
        "x := k;",
        "scan: [30 ms, 20 ms]",
        "the least time from scan to scan is longer than the greatest",
    ),
    "a period outside": (
        "x := k;",
        "scan: [10 ms, 20 ms], scan_ms: 30",
        "'scan_ms: 30' lies outside it",
    ),
    "a timer whose time is read": (
        "VAR t : TON; END_VAR t(IN := k, PT := T#90ms); x := t.ET > T#40ms;",
        "scan_ms: 10",
        "with time, timers are given their preset times, and no scans are counted: leave "
        "'timers: counted' out, and ET unread",
    ),
    "a preset time of too many units": (
        "VAR t : TON; END_VAR t(IN := k, PT := T#1h); x := t.Q;",
        "scan_ms: 10",
        "3600 s are 360,000 units of 10 ms, and a clock counts up to 20,000; a greater unit is "
        "sound, too",
    ),
}


@pytest.mark.parametrize(("body", "period", "says"), REFUSED.values(), ids=REFUSED)
def test_what_time_cannot_be_counted_of_is_one_line(
    tmp_path: Path, body: str, period: str, says: str
) -> None:
    with pytest.raises(InputError) as caught:
        load(written(tmp_path, body, "y := k;", "never: x", (period, "scan_ms: 10")))
    assert [mistake.says for mistake in caught.value.mistakes] == [says]


def _changed(folder: Path, right: str, wrong: str) -> list[str]:
    written(folder, "x := k;", "y := k;", "never: x", ("scan: [10 ms, 20 ms]", "scan_ms: 10"))
    text = (folder / "model.yaml").read_text(encoding="utf-8")
    assert right in text
    (folder / "model.yaml").write_text(text.replace(right, wrong), encoding="utf-8")
    with pytest.raises(InputError) as caught:
        load(folder)
    return [mistake.says for mistake in caught.value.mistakes]


def test_a_span_without_time_is_refused(tmp_path: Path) -> None:
    assert _changed(tmp_path, "run: {time: {unit: 10 ms}}\n", "") == [
        "'scan' needs a model with time: 'run: {time: …}'; without, give 'scan_ms'"
    ]


def test_a_delay_of_a_signal_that_two_read_is_refused(tmp_path: Path) -> None:
    # Each would be late by itself, and what one scan reads would be young for the other.
    delayed = "k: {reads: key, delay_ms: 20, delay_assumed: true}"
    assert _changed(tmp_path, "k: {reads: key}", delayed) == [
        "several controllers read 'k', and it comes late to each on its own; give each a sensor "
        "of its own, such as NAME.k"
    ]


def test_a_bound_in_scans_has_no_meaning_here_either(tmp_path: Path) -> None:
    (says,) = _changed(tmp_path, "never: x", "whenever: x, leads_to: y, within: 3 scans")
    assert says.startswith("a bound counts scans, and of several controllers none has the next")


@pytest.mark.parametrize("command", ["report", "challenge", "draw", "advise"])
def test_who_does_not_know_of_several_says_so_with_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], command: str
) -> None:
    periods = "scan_ms: 10", "scan_ms: 10"
    folder = written(tmp_path, "x := k;", "y := k;", "never: x AND NOT x", periods)
    assert run([command, str(folder)]) == 2
    assert f"'{command}' cannot take several controllers" in capsys.readouterr().err


def test_the_whole_command_takes_them(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    asked = "whenever: x, leads_to: y, within: 100 ms"
    periods = "scan_ms: 100", "scan: [50 ms, 100 ms]"
    folder = written(tmp_path, PULSE, HEARS, asked, periods, PROMPT)
    runs = tmp_path / "runs"
    assert run(["verify", str(folder), "--runs", str(runs), "--ledger"]) == 1
    out = " ".join(capsys.readouterr().out.split())
    assert "a and b scan in any order, in any phase to each other" in out
    assert run(["replay", str(folder), str(runs / "R" / "run.json")]) == 1
    assert "it violates R" in capsys.readouterr().out


@pytest.mark.parametrize(("ms", "expected"), [(150, "holds"), (140, "violated")])
def test_the_delay_of_an_output_that_two_write_is_of_one_writer(
    tmp_path: Path, ms: int, expected: str
) -> None:
    # A scan of 100 ms that sees the key, and 50 ms of a's output; b's is there at once.
    asked = f"lasts: key AND b.z AND NOT a.z, at_most: {ms} ms"
    periods = "scan_ms: 100", "scan_ms: 100"
    folder = written(tmp_path, "x := k; z := k;", "y := k; z := k;", asked, periods)
    for name in ("a", "b"):
        file = folder / f"{name}.st"
        text = file.read_text(encoding="utf-8").replace("VAR_OUTPUT", "VAR_OUTPUT z : BOOL; ")
        file.write_text(text, encoding="utf-8")
    file = folder / "model.yaml"
    either = "terms: {z: a.z OR b.z, stopped: halted}\n"
    delayed = "outputs: {a.z: {delay_ms: 50, delay_assumed: true}}\n"
    text = file.read_text(encoding="utf-8")
    file.write_text(text.replace("terms: {stopped: halted}\n", either + delayed), encoding="utf-8")
    for engine in ("enumerate", "symbolic"):
        assert outcome(load(folder), engine=engine) == expected


def test_an_age_by_delay_counts_scans_of_who_reads_it(tmp_path: Path) -> None:
    # Of scans that are 20 ms apart at least 100 ms are five.
    delayed = "heard: {reads: x, age: delay, delay_ms: 100, delay_assumed: true}"
    periods = "scan: [70 ms, 90 ms]", "scan: [20 ms, 50 ms]"
    loaded = load(written(tmp_path, "x := k;", HEARS, "never: x AND NOT x", periods, delayed))
    assert loaded.sensors["heard"].age == 5


TASK = """\
CONFIGURATION c
TASK cyclic (INTERVAL := T#30ms, PRIORITY := 1);
PROGRAM p WITH cyclic : a;
END_CONFIGURATION
"""


@pytest.mark.parametrize("period", ["", "scan: [20 ms, 40 ms]", "scan: [40 ms, 60 ms]"])
def test_the_interval_of_a_task_is_one_of_the_times_of_its_controller(
    tmp_path: Path, period: str
) -> None:
    folder = written(tmp_path, "x := k;", "y := k;", "never: x", (period, "scan_ms: 10"))
    file = folder / "a.st"
    file.write_text(file.read_text(encoding="utf-8") + TASK, encoding="utf-8")
    if "60 ms" in period:
        with pytest.raises(InputError) as caught:
            load(folder)
        (mistake,) = caught.value.mistakes
        assert mistake.says.startswith("the program's task runs every 30 ms, see ")
        assert mistake.says.endswith("which these times leave out")
        return
    timing = load(folder).timing
    assert timing is not None
    apart = "20 to 40 ms" if period else "30 ms"
    assert timing.scans == f"scans of a {apart} apart, of b 10 ms apart"
