"""Evidence forged at random: sound evidence changed by somebody who wants another verdict.

A forger knows everything that the product knows. What is changed is sealed again with right hashes,
and the script asks what follows from the changed manifest, so nothing is given away by its text.
"""

from __future__ import annotations

import json
import random
import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from interlock.base.errors import InputError
from interlock.base.files import sha256
from interlock.commands.verify.evidence import write_evidence
from interlock.engines import catalogue
from interlock.evidence.asked import asked, requirement_of, state_after
from interlock.evidence.folder import Evidence
from interlock.evidence.manifest import Manifest, SystemEntry, outline_of, parse, to_text
from interlock.evidence.obligations import script
from interlock.evidence.script import OBLIGATIONS, SETS
from interlock.evidence.sets import read_sets
from interlock.evidence.sexpr import SexprError
from interlock.independent_judge.run_file import record
from interlock.independent_judge.run_file import to_text as run_text
from interlock.judgement.verify import verify, verify_claims
from interlock.kernel.query import Stay, Trap
from interlock.kernel.system import Stepper
from interlock.model.build import FAULT_FREE, Built, RunClass, build
from interlock.model.model import Model

MANIFEST = "manifest.json"
_WHERE_NUMBERS_ARE = ("classes", "systems", "verdicts")


@dataclass
class Draft:
    """Evidence while it is forged: the manifest, the sets of each system, other files."""

    data: dict[str, Any]
    sets: dict[str, str]
    files: dict[str, str]


def sound_evidence(model: Model, folder: Path, run_class: RunClass | None = None) -> Draft:
    """Sound evidence of every requirement, as claimed or in one run class whatever."""
    engine = catalogue()["reference"]()
    if run_class is None:
        write_evidence(folder, verify_claims(model, engine))
    else:
        write_evidence(folder, verify(model, engine, run_class))
    data = json.loads((folder / MANIFEST).read_text())
    del data["seal"]
    sets, files = {}, {}
    for name in data["files"]:
        text = (folder / name).read_text()
        if name.endswith(".smt2"):
            sets[name.removesuffix(".smt2")] = text.split(SETS)[1].split(OBLIGATIONS)[0]
        else:
            files[name] = text
    return Draft(data, sets, files)


class Forger:
    """Changes sound evidence of one model.

    Parameters
    ----------
    model : Model
    drafts : list of Draft
        Sound evidence of it: as claimed, then in other run classes.
    by : random.Random
    """

    def __init__(self, model: Model, drafts: list[Draft], by: random.Random) -> None:
        self._model, self._drafts, self._by = model, drafts, by
        self._ids = list(build(model).requirements)
        self._system = build(model, RunClass(model.independent_faults, 2)).system
        self._all_moves = [move.name for move in self._system.moves]
        self._built: dict[RunClass, Built] = {}

    def forged(self) -> Evidence | None:
        """Other evidence, sealed; None where it is no manifest any more."""
        by = self._by
        chosen = by.choice([self._drafts[0], *self._drafts])
        self._draft = _copy(chosen)
        self._data = self._draft.data
        if chosen is not self._drafts[0] and by.random() < 0.8:
            self._relabelled()
        for _ in range(by.choice([1, 1, 2, 3])):
            by.choice(self._WAYS)(self)
        try:
            files = self._files()
            self._data["files"] = {n: sha256(c) for n, c in sorted(files.items())}
            content = to_text(Manifest.model_validate(self._data)).encode()
            manifest = parse(content, MANIFEST)
        except (InputError, ValueError):
            return None
        return Evidence(Path("forged"), manifest, files)

    def _files(self) -> dict[str, bytes]:
        used = {verdict["run"] for verdict in self._data["verdicts"].values()}
        files = {name: t.encode() for name, t in self._draft.files.items() if name in used}
        for name, entry in self._data["systems"].items():
            text = self._script(name, SystemEntry.model_validate(entry))
            if self._draft.data.get("dropped") == name:
                text = _without_an_obligation(text, self._by)
            files[f"{name}.smt2"] = text.encode()
        self._data.pop("dropped", None)
        return files

    def _script(self, name: str, entry: SystemEntry) -> str:
        """The script that the changed manifest asks for, as far as it makes sense."""
        sets = self._draft.sets.get(name, "")
        try:
            said = self._data["classes"][entry.run_class]
            run_class = RunClass(tuple(said["faults"]), said["at_most"], said["human"])
            here = asked(self._built_for(run_class), entry.requirements, entry.within)
            ends = {
                called: state_after(here.system, self._moves(requirement_of(called)))
                for called in entry.dead_ends
            }
            functions = read_sets(sets, here.system, entry.sets)
            return script(here.system, outline_of(entry, here.queries, ends), sets, functions).text
        except (KeyError, ValueError, IndexError, TypeError, SexprError):
            return f"{SETS}{sets}{OBLIGATIONS}"

    def _moves(self, id_: str) -> list[str]:
        found: list[str] = json.loads(self._draft.files[self._data["verdicts"][id_]["run"]])[
            "moves"
        ]
        return found

    def _any_of(self, what: dict[str, Any]) -> Any:
        return what[self._by.choice(sorted(what))] if what else {}

    def _number(self) -> None:
        places = [p for key in _WHERE_NUMBERS_ARE for p in _numbers(self._data[key])]
        if places:
            where, key = self._by.choice(places)
            where[key] = self._by.choice([where[key] + 1, where[key] - 1, 0, 1, 9])

    def _class(self) -> None:
        entry = self._any_of(self._data["classes"])
        known = list(self._model.faults)
        match self._by.choice(["drop", "add", "none", "most", "human", "claimed"]):
            case "drop" if entry["faults"]:
                entry["faults"].remove(self._by.choice(entry["faults"]))
            case "add" if known:
                entry["faults"].append(self._by.choice(known))
            case "none":
                entry["faults"] = []
            case "most":
                entry["at_most"] = self._by.choice([0, 1, 2, 9, None])
            case "human":
                entry["human"] = not entry["human"]
            case _:
                entry["faults"] = list(self._model.independent_faults)
                entry["at_most"] = self._by.choice([1, 2])

    def _relabelled(self) -> None:
        """Evidence of fewer faults goes by the name of as many as are claimed."""
        claims = {id_: s.survives for id_, s in self._model.statements.items()}
        n_faults = self._by.choice(sorted({0, *claims.values()}))
        faults = list(self._model.independent_faults) if n_faults else []
        for entry in self._data["classes"].values():
            entry |= {"faults": faults, "at_most": n_faults if faults else 0, "human": False}
        too_much = [id_ for id_, claim in claims.items() if claim < n_faults]
        for id_ in too_much:
            self._data["verdicts"].pop(id_, None)

    def _moved(self) -> None:
        verdict = self._any_of(self._data["verdicts"])
        if verdict:
            verdict["run_class"] = self._by.choice(sorted(self._data["classes"]))
            if self._by.random() < 0.5 and self._data["systems"]:
                verdict["system"] = self._by.choice(sorted(self._data["systems"]))

    def _hidden(self) -> None:
        """A claim, or what is known of it, is left out."""
        id_ = self._by.choice(self._ids)
        verdicts = self._data["verdicts"]
        entry = verdicts.get(id_, {})
        match self._by.choice(["verdict", "requirement", "undecided", "reason", "all"]):
            case "verdict":
                verdicts.pop(id_, None)
            case "requirement":
                for system in self._data["systems"].values():
                    system["requirements"] = [r for r in system["requirements"] if r != id_]
            case "undecided":
                entry["outcome"] = "undecided"
            case "reason":
                entry["not_recheckable"] = "for a good reason"
            case _:
                for other in self._ids:
                    if other != id_:
                        verdicts.pop(other, None)

    def _holds(self) -> None:
        """What is violated holds: it is asked of a system, with as little proof as will do."""
        id_ = self._by.choice(self._ids)
        if not self._data["systems"] or id_ not in self._data["verdicts"]:
            return
        name = self._by.choice(sorted(self._data["systems"]))
        system = self._data["systems"][name]
        if id_ not in system["requirements"]:
            system["requirements"].append(id_)
        entry = self._data["verdicts"][id_]
        entry |= {"outcome": "holds", "system": name, "run_class": system["run_class"]}
        entry |= {"not_recheckable": None, "limit": None}
        for kind in ("stays", "ladders", "dead_ends"):
            for called in [c for c in system[kind] if requirement_of(c) == id_]:
                del system[kind][called]
        for called, query in asked(self._built_for(FAULT_FREE), [id_]).queries.items():
            if isinstance(query, Stay):
                system["stays"][called] = self._by.choice([[], [[0, ""]]])
            elif isinstance(query, Trap):
                rungs = [[0, ""], [0, self._by.choice(self._all_moves)]]
                ladder = {"rungs": rungs[: self._by.choice([1, 2])], "home": None, "run": []}
                system["ladders"][called] = ladder

    def _violated(self) -> None:
        """What holds is violated: by a run of something else, or by any run whatever."""
        id_ = self._by.choice(self._ids)
        if id_ not in self._data["verdicts"]:
            return
        runs = sorted(self._draft.files)
        if runs and self._by.random() < 0.5:
            run = json.loads(self._draft.files[self._by.choice(runs)])
        else:
            moves = self._walk()
            kept = record(self._model, moves, None, "any run")
            run = json.loads(run_text(kept))
            if self._by.random() < 0.5:
                run["loop_start"] = self._by.randint(0, len(moves))
        if self._by.random() < 0.7:
            run["violates"] = sorted({*run["violates"], id_} - {"_"})
        file = f"runs/{id_}.json"
        self._draft.files[file] = json.dumps(run)
        entry = self._data["verdicts"][id_]
        entry |= {"outcome": "violated", "run": file, "not_recheckable": None, "limit": None}
        entry["system"] = self._by.choice([None, entry["system"]])
        if self._by.random() < 0.3 and self._data["systems"]:
            name = self._by.choice(sorted(self._data["systems"]))
            system = self._data["systems"][name]
            if id_ not in system["requirements"]:
                system["requirements"].append(id_)
            entry["system"] = name
            for called, query in asked(self._built_for(FAULT_FREE), [id_]).queries.items():
                if isinstance(query, Trap):
                    system["dead_ends"][called] = self._by.choice(range(system["sets"]))

    def _walk(self) -> list[str]:
        stepper, state, moves = Stepper(self._system), self._system.initial, []
        for _ in range(self._by.randint(1, 12)):
            move = self._by.choice(stepper.enabled(state))
            state = stepper.after(state, move)
            moves.append(move.name)
        return moves

    def _run(self) -> None:
        if not self._draft.files:
            return
        name = self._by.choice(sorted(self._draft.files))
        run = json.loads(self._draft.files[name])
        moves = run["moves"]
        match self._by.choice(["cut", "loop", "violates", "more", "drop"]):
            case "cut" if moves:
                del moves[self._by.randrange(len(moves)) :]
                run["ends"] = {}
            case "loop":
                run["loop_start"] = self._by.choice([None, *range(len(moves) + 1)])
            case "violates":
                run["violates"] = [self._by.choice(self._ids)]
            case "more":
                moves.append(self._by.choice(["scan", *self._all_moves]))
                run["ends"] = {}
            case _ if moves:
                del moves[self._by.randrange(len(moves))]
                run["ends"] = {}
        self._draft.files[name] = json.dumps(run)

    def _built_for(self, run_class: RunClass) -> Built:
        if run_class not in self._built:
            self._built[run_class] = build(self._model, run_class)
        return self._built[run_class]

    def _proof(self) -> None:
        """A step of a proof is left out, or is by another move."""
        system = self._any_of(self._data["systems"])
        chains = [*system.get("stays", {}).values()]
        chains += [ladder["rungs"] for ladder in system.get("ladders", {}).values()]
        if not chains:
            return
        chain = self._by.choice(chains)
        match self._by.choice(["drop", "all", "move", "set"]):
            case "drop" if chain:
                del chain[self._by.randrange(len(chain))]
            case "all":
                chain.clear()
            case "move" if chain:
                self._by.choice(chain)[1] = self._by.choice(["", *self._all_moves])
            case _ if chain:
                self._by.choice(chain)[0] = self._by.randrange(system["sets"])

    def _formula(self) -> None:
        """A set is another one."""
        if not self._draft.sets:
            return
        name = self._by.choice(sorted(self._draft.sets))
        text = self._draft.sets[name]
        heads = list(re.finditer(r"\(define-fun (s\d+) (\(.*\)) Bool\n", text))
        head = self._by.choice(heads)
        end = text.find("\n(define-fun", head.end())
        end = len(text) if end < 0 else end
        match self._by.choice(["all", "none", "complement", "edge", "edge", "edge"]):
            case "all":
                body = "true)"
            case "none":
                body = "false)"
            case "complement":
                body = re.sub(
                    r"(\(not n\d+\)|n\d+|true|false)(\)+)\Z", _negated, text[head.end() : end]
                )
            case _:
                body = _with_another_edge(text[head.end() : end], self._by)
        self._draft.sets[name] = text[: head.end()] + body + text[end:]

    def _invariant(self) -> None:
        """The invariant is of other states."""
        system = self._any_of(self._data["systems"])
        if not system:
            return
        invariant = system["invariant"]
        match self._by.choice(["scanned", "case", "set", "split"]):
            case "scanned":
                invariant["scanned"] = not invariant["scanned"]
            case "case" if invariant["cases"]:
                del invariant["cases"][self._by.randrange(len(invariant["cases"]))]
            case "split":
                invariant["split"], invariant["cases"] = [], [[[], 0]]
            case _ if invariant["cases"]:
                self._by.choice(invariant["cases"])[1] = self._by.randrange(system["sets"])

    def _obligation(self) -> None:
        if self._data["systems"]:
            self._data["dropped"] = self._by.choice(sorted(self._data["systems"]))

    def _premise(self) -> None:
        """What shows that a requirement was put to the test is of another one."""
        verdict = self._any_of(self._data["verdicts"])
        if "met" in verdict:
            others = [v["met"] for v in self._data["verdicts"].values()]
            verdict["met"] = self._by.choice([*others, [], [self._walk()], [[]]])

    _WAYS: tuple[Callable[[Forger], None], ...] = (
        *(_number, _class, _moved, _hidden, _holds, _holds, _violated),
        *(_violated, _run, _proof, _formula, _formula, _invariant, _obligation, _premise),
    )


def _copy(draft: Draft) -> Draft:
    return Draft(json.loads(json.dumps(draft.data)), dict(draft.sets), dict(draft.files))


def _numbers(value: Any) -> Iterator[tuple[Any, Any]]:
    """Each place of a number: what holds it, and under which key."""
    pairs = value.items() if isinstance(value, dict) else enumerate(value)
    for key, inner in pairs:
        if isinstance(inner, int) and not isinstance(inner, bool):
            yield value, key
        elif isinstance(inner, dict | list):
            yield from _numbers(inner)


def _negated(found: re.Match[str]) -> str:
    edge, closing = found.groups()
    other = {"true": "false", "false": "true"}.get(edge, f"(not {edge})")
    return (edge[5:-1] if edge.startswith("(not ") else other) + closing


def _with_another_edge(body: str, by: random.Random) -> str:
    """A decision graph in which one edge leads to all states or to none."""
    edges = list(re.finditer(r"(?<=[ ])(n\d+|true|false)(?=[ )])", body))
    if not edges:
        return body
    edge = by.choice(edges)
    other = by.choice([word for word in ("true", "false") if word != edge.group()])
    return body[: edge.start()] + other + body[edge.end() :]


def _without_an_obligation(text: str, by: random.Random) -> str:
    starts = [m.start() for m in re.finditer(r"; .*\n\(push 1\)\n\(assert .*\n\(check-sat\)", text)]
    if not starts:
        return text
    start = by.choice(starts)
    return text[:start] + text[text.index("(pop 1)\n", start) + len("(pop 1)\n") :]
