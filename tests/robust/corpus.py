"""Five hundred malformed inputs: small changes of inputs that are right, each of which is refused.

``malformed.json`` holds the texts that are right and the changes: which text, from and to which
character, what stands there instead, and each place that must be told. ``python -m
tests.robust.corpus`` draws it anew from the texts; a change is kept if it is refused and no other
kept one has the same message. Places of a new draw are what is told then: read them before they are
committed.
"""

from __future__ import annotations

import json
import random
import re
import tempfile
from collections.abc import Callable
from pathlib import Path

from interlock.base.errors import InputError
from interlock.commands.replay.columns import AS_NAMED, read_mapping
from interlock.commands.replay.study import explain
from interlock.independent_judge.run_file import read_run, record, replay_file, to_text
from interlock.model.load import load
from interlock.telling.csv_log import to_csv
from interlock.telling.vcd import to_vcd
from tests.support.gate import GATE_ST, GATE_YAML, written
from tests.support.models import MODELS
from tests.support.recorded import random_run

FILE = Path(__file__).with_name("malformed.json")
N_CASES = {
    "gate model.yaml": 130,
    "gate controller.st": 80,
    "ramp model.yaml": 80,
    "ramp controller.st": 80,
    "run.json": 40,
    "mapping.yaml": 30,
    "log.csv": 30,
    "log.vcd": 30,
}
MAPPING = """time: t
unit: ms
period_ms: 100
columns:
  I1: {shows: 'in:shut', values: {'10': 'TRUE', '20': 'FALSE'}}
  Q0: {shows: drive}
ignore: [note]
"""
RECORD = "t,I1,Q0,note\n0,10,0,\n100,20,1,x\n"
Case = tuple[str, int, int, str]


def right_texts() -> dict[str, str]:
    """The texts that the changes are made in."""
    with tempfile.TemporaryDirectory() as name:
        model = load(written(Path(name) / "model"))
        moments = random_run(model, 12, 3)
        ramp = (MODELS / "ramp" / "model.yaml").read_text(encoding="utf-8")
        run = record(model, ["scan", "button to TRUE", "scan"])
        return {
            "gate model.yaml": GATE_YAML,
            "gate controller.st": GATE_ST,
            # Without its side view, which is a file of its own.
            "ramp model.yaml": re.sub(r"(?m)^side_view:\n(?: .*\n|\n)+", "", ramp),
            "ramp controller.st": (MODELS / "ramp" / "controller.st").read_text(encoding="utf-8"),
            "run.json": to_text(run),
            "mapping.yaml": MAPPING,
            "log.csv": to_csv(model, moments),
            "log.vcd": to_vcd(model, moments),
        }


def use(texts: dict[str, str], base: str, text: str, folder: Path) -> None:
    """Do with an input what the command that takes it does.

    Raises
    ------
    InputError
        Where it is refused.
    """
    own = "ramp" if base.startswith("ramp") else "gate"
    files = {part: texts[f"{own} {part}"] for part in ("model.yaml", "controller.st")}
    part = base.partition(" ")[2]
    if part:
        files[part] = text
    written(folder, files["model.yaml"], files["controller.st"])
    uses: dict[str, Callable[[Path], object]] = {
        "run.json": lambda f: replay_file(load(folder), read_run(f)),
        "mapping.yaml": lambda f: explain(load(folder), folder / "log.csv", read_mapping(f)),
        "log.csv": lambda f: explain(load(folder), f, AS_NAMED),
        "log.vcd": lambda f: explain(load(folder), f, AS_NAMED),
    }
    if part:
        load(folder)
        return
    (folder / "log.csv").write_text(RECORD, encoding="utf-8")
    (folder / base).write_text(text, encoding="utf-8", errors="surrogatepass")
    uses[base](folder / base)


def changed(texts: dict[str, str], case: Case) -> str:
    """The text of a case."""
    base, start, end, new = case
    return texts[base][:start] + new + texts[base][end:]


def _change(chosen: random.Random, base: str, text: str) -> Case:
    words = [m.span() for m in re.finditer(r"\w+|[^\w\s]", text)]
    lines = [m.span() for m in re.finditer(r"[^\n]*\n", text)]
    start, end = chosen.choice(words)
    other = chosen.choice(words)
    match chosen.randrange(8):
        case 0:
            return base, start, end, ""
        case 1:
            return base, start, end, text[slice(*other)]
        case 2:
            return base, start, start, text[slice(*other)] + " "
        case 3:
            return base, end - 1, end, chosen.choice("xZ9_'\"()[]{}:;,#|*&!%@`\\\x00\t\u202eé")
        case 4:
            at = chosen.choice(lines)
            return base, at[0], at[1], ""
        case 5:
            at, from_ = chosen.choice(lines), chosen.choice(lines)
            return base, at[0], at[0], text[slice(*from_)]
        case 6:
            return base, chosen.randrange(len(text)), len(text), ""
        case _:
            return base, start, start, chosen.choice([" ", "  ", "\n", "- ", "(", "[", "{"])


def refusal(texts: dict[str, str], case: Case, folder: Path) -> list[str] | None:
    """The lines with which a case is refused, or None."""
    try:
        use(texts, case[0], changed(texts, case), folder)
    except InputError as error:
        return [str(mistake) for mistake in error.mistakes]
    return None


def places(lines: list[str], folder: Path) -> list[str]:
    """Where the lines of a refusal say that something is wrong: ``model.yaml:9:7``."""
    return [line.removeprefix(f"{folder}/").split(": ", 1)[0] for line in lines]


def draw(texts: dict[str, str]) -> list[Case]:
    """Changes that are refused, none with the message of another."""
    chosen = random.Random(500)
    found: list[Case] = []
    with tempfile.TemporaryDirectory() as name:
        for base, wanted in N_CASES.items():
            seen: set[str] = set()
            for _ in range(60 * wanted):
                if len(seen) == wanted:
                    break
                case = _change(chosen, base, texts[base])
                lines = refusal(texts, case, Path(name) / "model")
                said = None if lines is None else lines[0].partition(": ")[2]
                if said is not None and said not in seen:
                    seen.add(said)
                    found.append(case)
    return found


if __name__ == "__main__":
    right = right_texts()
    cases = []
    with tempfile.TemporaryDirectory() as name:
        for case in draw(right):
            told = refusal(right, case, Path(name))
            assert told is not None
            cases.append([*case, places(told, Path(name))])
    lines = ",\n".join(json.dumps(case) for case in cases)
    text = json.dumps(right, indent=1)
    FILE.write_text(f'{{"right": {text},\n"cases": [\n{lines}\n]}}\n', encoding="ascii")
    print(len(cases), "cases")
