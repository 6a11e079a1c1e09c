"""``interlock rating``: the row of Table K.1, the test of category 2, levels in series, SIL."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from interlock.cli.main import run

HEAD = "title: A press (invented)\nfunctions:\n  SF1:\n    says: Never down on a hand\n"


@pytest.fixture(autouse=True)
def in_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def rated(text: str, capsys: pytest.CaptureFixture[str]) -> tuple[int, str]:
    """The exit code and what is printed."""
    Path("rating.yaml").write_text(text, encoding="utf-8")
    code = run(["rating", "rating.yaml", "--plain"])
    told = capsys.readouterr()
    return code, told.out + told.err


def channel(*years: float, dc: float = 0.9) -> str:
    parts = [f"{{says: p, mttfd: {one}, dc: {dc}, assumed: true}}" for one in years]
    return f"[{', '.join(parts)}]"


def test_two_channels_of_20_years_reach_the_band_of_d(capsys: pytest.CaptureFixture[str]) -> None:
    # ISO 13849-1, Table K.1 (from memory): category 3, DC medium, 20 years: 4.85E-07, d.
    claim = "    category: '3'\n    level: d\n    ccf: 65\n    channels:\n"
    channels = f"      - {channel(20)}\n" * 2
    code, printed = rated(HEAD + claim + channels, capsys)
    assert code == 0
    assert "PFHd 4.9e-7/h, in the band of d" in printed
    assert "row of 20 years" in printed


def test_seven_parts_of_210_years_are_30_years(capsys: pytest.CaptureFixture[str]) -> None:
    # ISO 13849-1, Annex D: 7/210 = 1/30; Table K.1 (from memory): category 4, 30 years: 9.54E-08.
    claim = "    category: '4'\n    level: e\n    ccf: 65\n    channels:\n"
    channels = f"      - {channel(*[210] * 7, dc=0.99)}\n" * 2
    code, printed = rated(HEAD + claim + channels, capsys)
    assert "PFHd 9.5e-8/h, in the band of e" in printed
    assert "row of 30 years" in printed
    assert code == 0


def test_category_2_does_not_stand_without_test_equipment(
    capsys: pytest.CaptureFixture[str],
) -> None:
    claim = "    category: '2'\n    level: c\n    ccf: 65\n    channels:\n"
    code, printed = rated(f"{HEAD}{claim}      - {channel(50)}\n", capsys)
    assert code == 1
    assert "claim: category 2 needs test equipment: none is declared" in printed


TESTED = """\
usage: {demands: 1000, tests: 1.0e+5, rarely: 99999}
functions:
  SF1:
    says: Never down on a hand
    category: '2'
    level: c
    ccf: 65
    channels:
      - [{says: contact, mttfd: 50, dc: 0.9, assumed: true}]
    test: {tests: tests, demands: demands, parts: [{says: watchdog, mttfd: 25, assumed: true}]}
"""


def test_category_2_stands_with_equipment_that_tests_often_enough(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # ISO 13849-1, Table K.1 (from memory): category 2, DC medium, 47 years: 6.49E-07, d.
    code, printed = rated(f"title: A press\n{TESTED}", capsys)
    assert "row of 47 years, the next is 51" in printed
    assert "PFHd 6.5e-7/h, in the band of d" in printed
    assert "test equipment: 100 tests for each demand, MTTFd 25 years" in printed
    assert "watchdog" in printed
    assert code == 0


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("tests: tests,", "tests: rarely,", "at least 100 tests for each demand: 99.999 are"),
        ("mttfd: 25", "mttfd: 24.9", "24.9 y are declared, half is 25 y"),
    ],
)
def test_category_2_does_not_stand_with_equipment_that_falls_short(
    old: str, new: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, printed = rated("title: A press\n" + TESTED.replace(old, new), capsys)
    assert code == 1
    assert says in printed


def test_known_by_bands_the_simplified_procedure_decides(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # ISO 13849-1, simplified procedure (from memory): category 3, DC medium, MTTFd high: d.
    claim = "    category: '3'\n    level: d\n    simplified: {mttfd: high, dc: medium}\n"
    code, printed = rated(HEAD + claim, capsys)
    assert code == 0
    assert "simplified procedure: level d" in printed
    code, printed = rated(HEAD + claim.replace("level: d", "level: e"), capsys)
    assert code == 1
    assert "claim: the simplified procedure reaches only d" in printed
    code, printed = rated(HEAD + claim.replace("'3'", "'4'"), capsys)
    assert code == 1
    assert "claim: category 4 needs a DCavg of 99 % or more; it is medium" in printed


@pytest.mark.parametrize(
    ("category", "edition", "years", "counted"),
    [
        ("1", 2015, 400, 100),
        ("2", 2015, 101, 100),
        ("1", 2015, 99, 99),
        ("3", 2015, 400, 100),
        ("4", 2015, 400, 400),
        ("4", 2015, 2501, 2500),
        ("4", 2006, 400, 100),
    ],
)
def test_a_channel_counts_for_no_more_than_the_category_lets_it(
    category: str, edition: int, years: int, counted: int, capsys: pytest.CaptureFixture[str]
) -> None:
    # ISO 13849-1, 4.5.2 (from memory): up to 100 years; in category 4 from 2015 on up to 2,500.
    one = f"      - {channel(years, dc=0.99 if category == '4' else 0.9)}\n"
    claim = f"    category: '{category}'\n    level: a\n    channels:\n"
    text = f"edition: {edition}\n" + HEAD + claim + one * (2 if category in "34" else 1)
    Path("rating.yaml").write_text(text, encoding="utf-8")
    run(["rating", "rating.yaml", "--json", "-"])
    [function] = json.loads(capsys.readouterr().out)["functions"]
    assert function["channels"]["mttfd_years"] == counted
    assert (
        function["channels"]["pfhd"] is None or function["channels"]["pfhd"]["row_years"] <= counted
    )


def test_unlike_channels_count_as_two_like_ones(capsys: pytest.CaptureFixture[str]) -> None:
    # ISO 13849-1, Annex D (from memory): 3 and 100 years are 2/3 · (103 − 1/(1/3 + 1/100)) = 66.7.
    claim = "    category: '3'\n    level: a\n    channels:\n"
    text = HEAD + claim + f"      - {channel(3)}\n      - {channel(100)}\n"
    Path("rating.yaml").write_text(text, encoding="utf-8")
    run(["rating", "rating.yaml", "--json", "-"])
    [function] = json.loads(capsys.readouterr().out)["functions"]
    assert function["channels"]["mttfd_years"] == pytest.approx(66.725, abs=0.001)


SERIES = """\
    level: d
    series:
      - {says: valve, level: d, count: 3, source: a certificate}
"""


def test_subsystems_known_by_level_only_are_combined_by_how_many_are_lowest(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # ISO 13849-1, 6.3 (from memory): three of d are d, four are c.
    code, printed = rated(HEAD + SERIES, capsys)
    assert code == 0
    assert "3 × valve d (a certificate); together level d" in printed
    own = f"    category: '3'\n    ccf: 65\n    channels:\n{f'      - {channel(20)}' + chr(10)}"
    own += f"      - {channel(20)}\n"
    code, printed = rated(HEAD + SERIES + own, capsys)
    assert code == 1
    assert "own channels d, 3 × valve d (a certificate); together level c" in printed
    assert "claim: in series it reaches only c" in printed


def test_levels_that_come_to_none_are_no_level(capsys: pytest.CaptureFixture[str]) -> None:
    text = SERIES.replace("level: d", "level: a").replace("count: 3", "count: 4")
    code, printed = rated(HEAD + text, capsys)
    assert code == 1
    assert "claim: in series it reaches no level" in printed


VOTED = (
    "    sil: 3\n    iec61508: {voting: 1oo3, rate_per_h: 2.5e-6, dc: 0.9, beta: 0.2, "
    "beta_d: 0.1, proof_test_h: 8760, source: IEC 61508-6}\n"
)


def test_like_channels_vote_by_iec_61508_6(capsys: pytest.CaptureFixture[str]) -> None:
    # Common cause alone: PFH 0.2 · 2.5e-7 = 5.0e-8; PFD 0.2 · 2.5e-7 · 4388 + 0.1 · 2.25e-6 · 8.
    code, printed = rated(HEAD + VOTED, capsys)
    assert code == 0
    assert "IEC 61508-6, 1oo3: PFD 2.2e-4, PFH 5.0e-8/h; in the band of SIL 3 at high" in printed
    code, printed = rated(HEAD + VOTED.replace("1oo3", "2oo2"), capsys)
    assert code == 1
    assert "claim: the figure by IEC 61508-6 reaches only the band of SIL 2" in printed
    low = VOTED.replace("1oo3", "1oo1, demand: low")
    code, printed = rated(HEAD + low, capsys)
    assert "PFD 0.0011" in printed
    assert "in the band of SIL 2 at low demand" in printed


def test_a_sil_below_the_assigned_one_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    # IEC 62061, SIL assignment (from memory): Se 3, Cl 5 + 4 + 5 = 14: SIL 3.
    claim = "    sil_risk: [Se3, Fr5, Pr4, Av5]\n    sil: 2\n"
    code, printed = rated(HEAD + claim + SERIES, capsys)
    assert code == 1
    assert "SIL assignment: SIL 3; claimed: level d, SIL 2" in printed
    assert "claim: the claimed SIL is below the required one, SIL 3" in printed
    code, printed = rated(HEAD + claim.replace("Se3", "Se2") + SERIES, capsys)
    assert code == 0
    assert "SIL assignment: SIL 2" in printed


def test_points_of_iec_62061_stand_for_beta(capsys: pytest.CaptureFixture[str]) -> None:
    # IEC 62061, Annex F (from memory): 70 points, 2 %.
    channels = f"    channels:\n      - {channel(100)}\n      - {channel(100)}\n"
    claim = "    category: '3'\n    iec62061: {architecture: D, points: 70}\n"
    code, printed = rated(HEAD + claim + channels, capsys)
    assert code == 0
    assert "(architecture D; beta 2%, points)" in printed


def test_cycles_come_from_days_hours_and_seconds_and_wear_is_told(
    capsys: pytest.CaptureFixture[str],
) -> None:
    # ISO 13849-1, Annex C: B10d 60e6, 220 days, 16 hours, every 5 s: T10d 23.67 years; half as
    # many cycles to B10d are 11.8 years, less than the mission time.
    usage = "title: A press\nusage: {strokes: {days: 220, hours: 16, cycle_s: 5}}\n"
    function = "functions:\n  SF1:\n    says: x\n    category: B\n    channels:\n"
    part = "      - [{says: valve, b10d: 60e6, per_year: strokes, assumed: true}]\n"
    code, printed = rated(usage + function + part, capsys)
    assert code == 0
    assert "B10d 6.0e7 at 2.5e6 a year" in printed
    assert "240" in printed
    assert "T10d" not in printed
    _, printed = rated(usage + function + part.replace("60e6", "30e6"), capsys)
    assert "valve: T10d 12 years, to be replaced by then (mission time 20 years)" in printed


def test_the_row_and_all_figures_are_in_the_json(capsys: pytest.CaptureFixture[str]) -> None:
    claim = "    category: '3'\n    level: e\n    channels:\n"
    text = HEAD + claim + f"      - {channel(21)}\n" * 2 + SERIES.partition("\n")[2] + VOTED
    Path("rating.yaml").write_text(text, encoding="utf-8")
    assert run(["rating", "rating.yaml", "--json", "-"]) == 1
    [function] = json.loads(capsys.readouterr().out)["functions"]
    # ISO 13849-1, Table K.1 (from memory): category 3, DC medium, 20 years: 4.85E-07.
    assert function["channels"]["pfhd"] == {
        "per_h": 4.85e-7,
        "column": "category 3, DCavg medium",
        "row_years": 20,
        "next_row_years": 22,
        "source": "ISO 13849-1, Table K.1, from memory",
    }
    assert function["channels"]["mttfd_years"] == 21
    assert function["simplified_procedure"]["level"] == "d"
    assert (function["series"]["own"], function["series"]["level"]) == ("d", "c")
    assert function["iec61508"]["sil_band"] == 3
    assert "claim: the figure reaches only the band of d" in function["against"]
    assert run(["rating", "rating.yaml", "--json", "out.json", "--plain"]) == 1
    assert "row of 20 years" in capsys.readouterr().out
    assert json.loads(Path("out.json").read_text(encoding="utf-8"))["functions"] == [function]


CHANNELS = "channels: [[{says: p, mttfd: 50, assumed: true}]]"
DOUBLE = "channels: [[{says: p, mttfd: 50, assumed: true}], [{says: q, mttfd: 9, source: x}]]"


@pytest.mark.parametrize(
    ("function", "says"),
    [
        ("level: c", ":3:3: 'SF1': give at least one of channels, simplified, series and iec61508"),
        (CHANNELS, ":3:3: 'category' is missing"),
        (
            f"category: '2'\n    {DOUBLE}",
            ":6:5: category 2 has 1 channel; 2 given; what tests",
        ),
        (
            f"category: B\n    {CHANNELS}\n    simplified: {{mttfd: low}}",
            ":7:5: give either channels or simplified",
        ),
        (
            f"category: B\n    {CHANNELS}\n    test: {{tests: day, demands: days, parts: []}}",
            ":7:46: parts: list should have at least 1 item",
        ),
        (
            f"category: B\n    {CHANNELS}\n    test: {{tests: day, demands: days, parts: "
            "[{says: w, mttfd: 5, source: x}]}",
            ":7:5: only category 2 has test equipment",
        ),
        (
            f"category: '2'\n    {CHANNELS}\n    test: {{tests: dayz, demands: days, parts: "
            "[{says: w, mttfd: 5, source: x}]}",
            ":7:19: 'dayz' is not a usage; did you mean 'days'?",
        ),
        ("series: [{says: v, level: d}]", ":5:14: 'v': a figure needs its 'source', or 'assumed"),
        ("series: [v]", ":5:14: 0: expected a mapping, found 'v'"),
        ("series: [{says: v, lvl: d}]", ":5:24: 'lvl' is not known; did you mean 'level'?"),
        ("series: [{says: v, level: f, source: x}]", ":5:31: level: input should be 'a', 'b'"),
        (
            "iec61508: {voting: 1oo3, rate_per_h: 1e-6, proof_test_h: 9, source: x}",
            ":5:15: 'beta' is missing; 1oo3 has a common cause",
        ),
        (
            "iec61508: {voting: 1oo4, rate_per_h: 1e-6, proof_test_h: 9, source: x}",
            ":5:24: voting: input should be '1oo1', '1oo2', '1oo3', '2oo2' or '2oo3', found '1oo4'",
        ),
        (
            f"category: '3'\n    {DOUBLE}\n    iec62061: {{architecture: D, beta: 0.1, points: 3}}",
            ":7:44: give either beta or points",
        ),
        (
            "category: '3'\n    simplified: {mttfd: low, dc: low}\n    iec62061: {architecture: A}",
            ":7:5: iec62061 goes with channels",
        ),
        (
            "sil_risk: [Se5, Fr1, Pr1, Av2]\n    series: [{says: v, level: d, source: x}]",
            ":5:15: sil_risk: expected [Se1 or Se2 or Se3 or Se4, Fr1",
        ),
        (
            "sil: 4\n    series: [{says: v, level: d, source: x}]",
            ":5:10: sil: input should be",
        ),
    ],
)
def test_a_mistake_in_what_is_claimed_has_its_place(
    function: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    text = f"usage: {{days: 220}}\nfunctions:\n  SF1:\n    says: x\n    {function}\ntitle: t\n"
    code, printed = rated(text, capsys)
    assert code == 2
    assert f"rating.yaml{says}" in printed


@pytest.mark.parametrize(
    ("usage", "says"),
    [
        ("{x: -1}", "rating.yaml:2:12: x: input should be greater than 0, found '-1'"),
        ("{x: {days: 400, hours: 1, cycle_s: 1}}", "2:19: days: input should be less than or"),
        (
            "{x: {days: 4, hour: 1, hours: 1, cycle_s: 1}}",
            "2:22: 'hour' is not known; did you",
        ),
        ("{x: {days: 4, hours: 1}}", "rating.yaml:2:9: 'cycle_s' is missing"),
        ("{x: inf}", "rating.yaml:2:12: x: input should be from 1e-9 to 1e15, found 'inf'"),
    ],
)
def test_a_mistake_in_a_usage_has_its_place(
    usage: str, says: str, capsys: pytest.CaptureFixture[str]
) -> None:
    code, printed = rated(f"title: t\nusage: {usage}\n{HEAD.partition(chr(10))[2]}{SERIES}", capsys)
    assert code == 2
    assert says in printed


@pytest.mark.parametrize("mttfd", ["1e-9", "1e15"])
@pytest.mark.parametrize("beta", ["0", "1"])
def test_figures_at_the_ends_of_what_is_taken_give_no_defect(
    mttfd: str, beta: str, capsys: pytest.CaptureFixture[str]
) -> None:
    part = f"[{{says: p, b10d: {mttfd}, per_year: n, count: 1000, dc: 1, assumed: true}}]"
    claim = f"    category: '3'\n    channels: [{part}, {part}]\n"
    further = f"    iec62061: {{architecture: D, beta: {beta}, proof_test_h: 1e7}}\n"
    usage = f"usage: {{n: {'1e15' if mttfd == '1e-9' else '1e-9'}}}\n"
    code, printed = rated(HEAD.replace("functions", f"{usage}functions") + claim + further, capsys)
    assert code in (0, 1)
    assert "IEC 62061" in printed


def test_the_example_in_the_readme_is_taken_and_stands(capsys: pytest.CaptureFixture[str]) -> None:
    readme = (Path(__file__).parents[4] / "README.md").read_text(encoding="utf-8")
    examples = re.findall(r"```yaml\n(.*?)```", readme, re.DOTALL)
    [example] = [text for text in examples if "A press (invented)" in text]
    code, printed = rated(example, capsys)
    assert code == 0
    assert "own channels d, light curtain d (its certificate); together level d" in printed
    assert "in the band of SIL 3" in printed
