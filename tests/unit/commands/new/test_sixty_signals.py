"""A list of sixty signals and its program: two commands to the first verdict."""

from __future__ import annotations

from pathlib import Path

import pytest

from interlock.cli.main import run
from interlock.commands.exits import EXIT_HOLDS, EXIT_VIOLATED

N_INPUTS, N_OUTPUTS = 36, 24
INPUTS = [f"in{n}" for n in range(N_INPUTS)]
OUTPUTS = [f"out{n}" for n in range(N_OUTPUTS)]


def written() -> None:
    """A fictional cell: stops trip it, a run latches, outputs follow other inputs."""
    head = "BMK;Symbol;Adresse;Datentyp;Kommentar;Leuchtenfarbe;Baugruppe;Kanal\n"
    rows = ["Zelle Erle (erfunden)\n\n", head]
    for n, name in enumerate(INPUTS):
        rows.append(f"-B{n};{name};E{n // 8}.{n % 8};BOOL;Geber {n}, überwacht;;K1;{n}\n")
    rows.append(";Reserve;E9.0;BOOL;;;;\n\n")
    for n, name in enumerate(OUTPUTS):
        lamp = "grün" if n == 1 else ""
        rows.append(f"-K{n};{name};A{n // 8}.{n % 8};BOOL;Ventil {n};{lamp};K2;{n}\n")
    Path("list.csv").write_bytes("".join(rows).encode("latin-1"))
    declared = "".join(f"  {n} AT %IX{k // 8}.{k % 8} : BOOL;\n" for k, n in enumerate(INPUTS))
    made = "".join(f"  {n} AT %QX{k // 8}.{k % 8} : BOOL;\n" for k, n in enumerate(OUTPUTS))
    body = (
        "IF NOT (in0 AND in1 AND in2) THEN tripped := TRUE; END_IF\n"
        "IF in3 AND in0 AND in1 AND in2 THEN tripped := FALSE; END_IF\n"
        "out0 := (in4 OR out0) AND in5 AND NOT tripped;\nout1 := out0;\n"
    )
    for n, name in enumerate(OUTPUTS[2:], 6):
        a, b = INPUTS[n], INPUTS[(n + 8) % N_INPUTS]
        body += f"{name} := out0 AND {a} AND NOT {b};\n"
    Path("cell.st").write_text(
        f"PROGRAM Cell\nVAR_INPUT\n{declared}END_VAR\nVAR_OUTPUT\n{made}END_VAR\n"
        f"VAR tripped : BOOL; END_VAR\n{body}END_PROGRAM\n"
    )
    Path("m.csv").write_text("cause;out0;out2;out9\nNOT in0;T;T;T\nNOT in6;;T;T\nlegend;T;off\n")


@pytest.mark.slow
def test_a_list_of_sixty_signals_is_judged_at_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    written()
    given = ["--program", "cell.st", "--signals", "list.csv", "--matrix", "m.csv"]
    assert run(["new", "cell", *given]) == EXIT_HOLDS
    told = capsys.readouterr().out
    assert "list.csv has 60 signals; 60 are these" in told
    assert "list and program agree" in told
    assert run(["verify", "cell", "--plain"]) == EXIT_VIOLATED
    told = capsys.readouterr().out
    assert "Causes and effects, m.csv: 4 holds, 1 violated" in told
    assert "M_NOT_in6_out9 violated" in told
