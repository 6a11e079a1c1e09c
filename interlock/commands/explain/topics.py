"""What can be explained: constructs, patterns, scopes, kinds of fault, what comes between scans."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from interlock.base.errors import nearest
from interlock.base.visible import in_one_line
from interlock.exchange.constructs import DRAWN
from interlock.kernel.requirement import ScopeKind
from interlock.model.between import ALL, BY_DEFAULT, BetweenScans
from interlock.model.fault_kinds import FAULT_KINDS, FaultKind, Site
from interlock.model.patterns import PATTERNS, SCOPES, PatternWords
from interlock.st.constructs import CONSTRUCTS, Construct, Fate

SOURCE = (
    "Dwyer, Avrunin and Corbett, Patterns in property specifications for finite-state "
    "verification, ICSE 1999"
)
_BRANCHING = "the same property in branching time"
_PREDICATES = "PS"


@dataclass(frozen=True)
class Topic:
    """Something that can be explained.

    Attributes
    ----------
    name : str
    sort : str
        ``Structured Text``, ``exchange format``, ``requirement pattern``, ``scope``, ``fault`` or
        ``assumption``.
    group : str
        What it stands among in the list.
    fate : str
        Of a construct: ``taken``, ``left out`` or ``refused``; else empty.
    says : str
    facts : tuple of (str, str)
        What else there is to know, each with what it is.
    example : str
    words : tuple of str
        Other words by which it is looked for.
    """

    name: str
    sort: str
    group: str
    says: str
    fate: str = ""
    facts: tuple[tuple[str, str], ...] = ()
    example: str = ""
    words: tuple[str, ...] = ()


class UnknownTopicError(Exception):
    """Nothing is called so."""


@cache
def topics() -> tuple[Topic, ...]:
    """Everything that can be explained, in the order of the tables."""
    constructs = (
        _construct(row, sort, group)
        for sort, table in (("Structured Text", CONSTRUCTS), ("exchange format", DRAWN))
        for group, rows in table.items()
        for row in rows
    )
    patterns = (_pattern(row) for row in PATTERNS.values())
    faults = (_fault(kind) for kind in FAULT_KINDS)
    between = (_between(one) for one in ALL)
    return (*constructs, *patterns, *_scopes(), *faults, *between, _late(), _unit())


def found(word: str) -> list[Topic]:
    """The topics that `word` is a name of, else those that it is another word for.

    Raises
    ------
    UnknownTopicError
        Where there is none, with the nearest name.
    """
    wanted = word.casefold()
    named = [topic for topic in topics() if topic.name.casefold() == wanted]
    meant = [t for t in topics() if wanted in (other.casefold() for other in t.words)]
    if named or meant:
        return [*named, *(topic for topic in meant if topic.sort not in {t.sort for t in named})]
    names = dict.fromkeys(name for t in topics() for name in (t.name, *t.words))
    hint = nearest(word, names) or "; 'interlock explain' lists what is"
    raise UnknownTopicError(f"nothing is called '{in_one_line(word)}' here{hint}")


def _construct(row: Construct, sort: str, group: str) -> Topic:
    facts = []
    if row.gives:
        values = ", ".join(f"{name} = {value}" for name, value in row.gives.items())
        facts.append(("behind the first scan, inputs FALSE and 0", values))
    if row.told:
        what = "refused with" if row.fate is Fate.REFUSED else "told"
        facts.append((what, row.told))
    fate = row.fate.value
    return Topic(row.name, sort, group, row.says, fate, tuple(facts), row.example, row.also)


def _pattern(row: PatternWords) -> Topic:
    letters = dict(zip(row.keys, _PREDICATES, strict=False))
    facts = [("published as", row.name), ("read as", row.sentence.format(**letters))]
    facts += [(f"formula {SCOPES[scope].offered}", row.formula(scope)) for scope in row.formulas]
    facts += [("kept by the run", _run(row.keeps)), ("violated by the run", _run(row.breaks))]
    is_linear = len(row.formulas) > 1
    facts.append(("source", SOURCE if is_linear else f"{SOURCE}; {_BRANCHING}"))
    asked = ", ".join(f"{key}: {letter}" for key, letter in letters.items())
    example = f"R1: {{says: …, {asked}}}"
    words = (row.name, *row.keys, *row.clauses)
    return Topic(row.key, "requirement pattern", "", row.says, "", tuple(facts), example, words)


def _run(states: tuple[str, ...]) -> str:
    shown = [" and ".join(state.upper()) or "neither" for state in states]
    return f"{', then '.join(shown)} for ever"


def _scopes() -> Iterator[Topic]:
    letters = {"opens": "Q", "closes": "R"}
    for kind, row in SCOPES.items():
        if kind is ScopeKind.GLOBALLY:
            says = "The whole run; every requirement without another scope."
        else:
            says = f"A requirement counts only {row.offered}: {_extent(kind)}"
        asked = ", ".join(f"{key}: {letters[part]}" for key, part in row.parts.items())
        facts = [
            (f"formula of {p.key}", p.formula(kind))
            for p in PATTERNS.values()
            if kind in p.formulas
        ]
        example = f"R1: {{says: …, never: P, scope: {{{asked}}}}}" if asked else ""
        yield Topic(row.key, "scope", "", says, "", tuple(facts), example, tuple(row.parts))


def _extent(kind: ScopeKind) -> str:
    return {
        ScopeKind.BEFORE: "up to the first state with R; where R never comes nothing is violated.",
        ScopeKind.AFTER: "from the first state with Q on.",
        ScopeKind.BETWEEN: "from a state with Q up to the next with R; where R never comes nothing "
        "is violated.",
        ScopeKind.AFTER_UNTIL: "from a state with Q up to the next with R, whether R comes or not.",
    }[kind]


def _fault(kind: FaultKind) -> Topic:
    says = "; ".join(
        f"{_at(site)}: {said.format(name='…', where='in its state')}"
        for site, said in kind.says.items()
    )
    facts = [("asked for by", f"{kind.key}: {kind.value or '…'}")]
    if kind.only_in is not None:
        facts.append((kind.only_in, kind.only_in_says))
    facts.append(("may be intermittent", "yes" if kind.may_clear else "no"))
    hands = ", ".join(map(_at, kind.by_hand)) or "no"
    facts.append(("hands at the terminals can do the same", hands))
    words = tuple(word for word in (kind.key, kind.value, kind.only_in) if word)
    return Topic(kind.name, "fault", "", f"{says}.", "", tuple(facts), "", words)


def _between(assumed: BetweenScans) -> Topic:
    says = f"{assumed.says[:1].upper()}{assumed.says[1:]}."
    if assumed.is_each_once:
        says += (
            " In any order, each guard read at its turn. A machine moves oftener only where the "
            "least duration of its moves lets it."
        )
    weaker = ", ".join(map(str, assumed.weaker)) or "none"
    facts = [("asked for by", f"run: {{between_scans: {assumed}}}"), ("weaker", weaker)]
    facts.append(("by default", "yes" if str(assumed) == BY_DEFAULT else "no"))
    return Topic(
        str(assumed), "assumption", "", says, "", tuple(facts), "", ("between_scans", "run")
    )


def _unit() -> Topic:
    says = (
        "Time is counted in units, and what is no whole number of them is rounded outwards: more "
        "can happen, never less. With 'exact' the unit is the greatest common divisor of all times "
        "that the model counts, and nothing is rounded."
    )
    facts = (
        ("asked for by", "run: {time: {unit: 100 ms}}, or unit: exact"),
        ("counted", "scans, durations, preset times, delays, bounds in time"),
        ("exact is refused", "beside quantities, what goes on, 'age: delay', parts of 1 ms"),
        ("by default", "no time: a duration decides nothing, a timer elapses at any moment"),
    )
    example = "run: {scan_ms: 50, time: {unit: exact}}"
    return Topic("unit of time", "assumption", "", says, "", facts, example, ("time", "exact"))


def _late() -> Topic:
    says = (
        "A scan reads any value that the sensor gave at the second scan before it or later, each "
        "signal on its own; the bus lies behind the sensor's faults. For contact bounce, 1 scan."
    )
    facts = (
        ("asked for by", "age: 2 scans at a sensor, or buses: {…: {age: 2 scans, sensors: […]}}"),
        ("a filter", "delay_ms: 150, age: delay: as many scans as its delay may last"),
        ("with time", "delay_ms: 150 alone: any value that it gave within the last 150 ms"),
        (
            "a message with validity",
            "buses: {…: {…, lost: FAULT, valid: INPUT}}, a fault that "
            "freezes what comes and an input that tells of it",
        ),
        ("what can have one", "a BOOL that reads something"),
        ("by default", "no: each scan reads what is"),
    )
    example = "sensors: {shut: {reads: gate = SHUT, age: 2 scans}}"
    return Topic(
        "late signal",
        "assumption",
        "",
        says,
        "",
        facts,
        example,
        ("age", "buses", "lost", "valid", "filter"),
    )


def _at(site: Site) -> str:
    return f"at an {site.value}" if site is Site.OUTPUT else f"at a {site.value}"
