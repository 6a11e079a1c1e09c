"""The table of requirement patterns and scopes, in words: keys, sentences, formulas, examples.

One row is one pattern; how it is searched for stands in `interlock.kernel.patterns` by the same
key. The model file's schema, statements, the sentence form, the words of reports and pictures, the
formulas of the independent judge and the documentation follow; `tests/meta/test_patterns.py`
fails where one does not, and runs every example.

Source of names and formulas: Dwyer, Avrunin and Corbett, "Patterns in property specifications for
finite-state verification", ICSE 1999, in linear temporal logic with W for weak until; of 'can
still': the same property in branching time, AG EF P. Three decisions differ from them or fill a
gap, see `interlock.kernel.asking`: where Q and R hold together no scope opens, 'after Q' counts
from the first Q, and `exists … before R` is violated where R is there at power-up.

Requirements in time: Konrad and Cheng, "Real-time specification patterns", ICSE 2005, from memory.
Two decisions of our own make them stricter: what is true at power-up begins there, and what a bound
is counted from is where P begins, wherever the scope opened. The time of 'at least' is open at its
end: what lasts just as long is long enough.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from interlock.kernel.requirement import Pattern, ScopeKind


@dataclass(frozen=True)
class ScopeWords:
    """One scope.

    Attributes
    ----------
    key : str
        What the sentence form calls it.
    parts : mapping of str to str
        Each key of the model file, with the field of a statement that it fills: ``opens`` for Q,
        ``closes`` for R.
    ends : bool
        Whether R may end it.
    offered : str
        How a form offers it.
    """

    key: str
    parts: Mapping[str, str]
    ends: bool
    offered: str

    @property
    def sentence(self) -> str:
        """Its part of a sentence, with its keys in braces."""
        said = " ".join(f"{key} {{{key}}}" for key in self.parts)
        return f", {said}" if said else ""


SCOPES: Mapping[ScopeKind, ScopeWords] = MappingProxyType(
    {
        ScopeKind.GLOBALLY: ScopeWords("globally", {}, ends=False, offered="in the whole run"),
        ScopeKind.BEFORE: ScopeWords("before", {"before": "closes"}, ends=True, offered="before …"),
        ScopeKind.AFTER: ScopeWords("after", {"after": "opens"}, ends=False, offered="after …"),
        ScopeKind.BETWEEN: ScopeWords(
            "between", {"between": "opens", "and": "closes"}, ends=True, offered="between … and …"
        ),
        ScopeKind.AFTER_UNTIL: ScopeWords(
            "from", {"from": "opens", "until": "closes"}, ends=True, offered="from … until …"
        ),
    }
)


@dataclass(frozen=True)
class PatternWords:
    """One pattern.

    Attributes
    ----------
    name : str
        Its name in the source.
    blanks : mapping of str to str
        The keys of the model file that it takes, for P and for S, each with the label of its blank.
    roles : mapping of str to str
        By the same keys: what the condition is to the requirement, in a timing diagram.
    says : str
        What it demands, in one sentence.
    offered, sentence : str
        How a form offers it; a filled sentence, with its keys in braces.
    bound : str
        The key of the model file that takes its bound; empty where it has none.
    kept : str
        Why it holds whatever happens where its harm can never occur.
    formulas : mapping
        By scope, over P, S, Q and R. ``answer`` is what P needs: S, before R where that ends the
        scope, and in time where there is a bound.
    keeps, breaks : tuple of str
        A run that keeps it and one that violates it: the predicates (p, s) that hold in each
        state. The last state stays for ever. Of a requirement in time each other state lasts a
        unit, and the bound is two.
    """

    name: str
    blanks: Mapping[str, str]
    roles: Mapping[str, str]
    says: str
    offered: str
    sentence: str
    kept: str
    formulas: Mapping[ScopeKind, str]
    keeps: tuple[str, ...]
    breaks: tuple[str, ...]
    bound: str = ""

    @property
    def keys(self) -> tuple[str, ...]:
        """The keys of the model file that it takes."""
        return tuple(self.blanks)

    @property
    def key(self) -> str:
        """The key that tells it from all others; what the sentence form calls it."""
        return self.keys[-1]

    @property
    def clauses(self) -> tuple[str, ...]:
        """Its keys as words."""
        return tuple(key.replace("_", " ") for key in self.keys)

    def formula(self, scope: ScopeKind, in_time: bool = False) -> str:
        """The published formula in a scope.

        Parameters
        ----------
        scope : ScopeKind
        in_time : bool
            Whether S has to come within a bound; D and V are then F and U in time.
        """
        finally_, until = ("D", "V") if in_time else ("F", "U")
        answer = f"(!R {until} (S & !R))" if SCOPES[scope].ends else f"{finally_} S"
        return self.formulas[scope].replace("answer", answer)


def _throughout(p: str, up_to_r: str = "") -> Mapping[ScopeKind, str]:
    """The formulas for `p` in every state of the scope, or for `up_to_r` where R may end that."""
    ending = up_to_r or p
    return {
        ScopeKind.GLOBALLY: f"G {p}",
        ScopeKind.BEFORE: f"F R -> ({ending} U R)",
        ScopeKind.AFTER: f"G (Q -> G {p})",
        ScopeKind.BETWEEN: f"G (Q & !R & F R -> ({ending} U R))",
        ScopeKind.AFTER_UNTIL: f"G (Q & !R -> ({ending} W R))",
    }


def _where_it_begins(kept: str, up_to_r: str) -> Mapping[ScopeKind, str]:
    """The formulas for `kept` where P begins in the scope, or at power-up."""
    first, opened = f"(Q & P -> {kept})", f"(Q & !R & P -> {up_to_r})"
    return {
        ScopeKind.GLOBALLY: f"(P -> {kept}) & G (!P -> X (P -> {kept}))",
        ScopeKind.AFTER: (f"{first} & G (!P -> X {first}) & G (Q -> G (!P -> X (P -> {kept})))"),
        ScopeKind.AFTER_UNTIL: (
            f"{opened} & G (!P -> X {opened}) & G (Q & !R -> ((!P -> X (!R & P -> {up_to_r})) W R))"
        ),
    }


_EXISTENCE = {
    ScopeKind.GLOBALLY: "F P",
    ScopeKind.BEFORE: "!R W (P & !R)",
    ScopeKind.AFTER: "!Q W (Q & F P)",
    ScopeKind.BETWEEN: "G (Q & !R -> (!R W (P & !R)))",
    ScopeKind.AFTER_UNTIL: "G (Q & !R -> (!R U (P & !R)))",
}
_PRECEDENCE = {
    ScopeKind.GLOBALLY: "!P W S",
    ScopeKind.BEFORE: "F R -> (!P U (S | R))",
    ScopeKind.AFTER: "!Q W (Q & (!P W S))",
    ScopeKind.BETWEEN: "G (Q & !R & F R -> (!P U (S | R)))",
    ScopeKind.AFTER_UNTIL: "G (Q & !R -> (!P W (S | R)))",
}


PATTERNS: Mapping[Pattern, PatternWords] = MappingProxyType(
    {
        Pattern.NEVER: PatternWords(
            name="absence",
            blanks={"never": "Never"},
            roles={"never": "forbidden"},
            says="This is true in no state.",
            offered="Never … (when …)",
            sentence="Never {never}",
            kept="what it forbids can never be true",
            formulas=_throughout("!P"),
            keeps=("", "s"),
            breaks=("", "p", ""),
        ),
        Pattern.ALWAYS: PatternWords(
            name="universality",
            blanks={"always": "Always"},
            roles={"always": "demanded"},
            says="This is true in every state.",
            offered="Always … (when …)",
            sentence="Always {always}",
            kept="what it demands is always true",
            formulas=_throughout("P"),
            keeps=("p", "ps"),
            breaks=("p", "", "p"),
        ),
        Pattern.EXISTS: PatternWords(
            name="existence",
            blanks={"exists": "Some time"},
            roles={"exists": "wanted once"},
            says="This becomes true on every run.",
            offered="Some time …",
            sentence="Some time {exists}",
            kept="what it asks for is always true",
            formulas=_EXISTENCE,
            keeps=("", "p", ""),
            breaks=("", "s", ""),
        ),
        Pattern.LEADS_TO: PatternWords(
            name="response",
            blanks={"whenever": "Whenever", "leads_to": "then some time"},
            roles={"whenever": "trigger", "leads_to": "response"},
            says="Wherever 'whenever' is true, 'leads_to' is true then or later.",
            offered="Whenever …, then some time …",
            sentence="Whenever {whenever}, then some time {leads_to}",
            kept="'leads_to' is true wherever 'whenever' is",
            formulas=_throughout("(P -> answer)"),
            keeps=("p", "", "s"),
            breaks=("s", "p", ""),
            bound="within",
        ),
        Pattern.ONLY_AFTER: PatternWords(
            name="precedence",
            blanks={"event": "The event", "only_after": "only after"},
            roles={"event": "event", "only_after": "needed before"},
            says="'event' is true nowhere before 'only_after' has been true.",
            offered="… only after …",
            sentence="{event} only after {only_after}",
            kept="'only_after' is true wherever 'event' is",
            formulas=_PRECEDENCE,
            keeps=("", "s", "p"),
            breaks=("", "p", "s"),
        ),
        Pattern.CAN_STILL: PatternWords(
            name="possibility",
            blanks={"can_still": "From everywhere can still be reached"},
            roles={"can_still": "goal"},
            says="From every state that is reached, one where this is true can be reached.",
            offered="From everywhere … can still be reached",
            sentence="From everywhere {can_still} can still be reached",
            kept="what it asks for is always true",
            formulas={ScopeKind.GLOBALLY: "AG EF P"},
            keeps=("", "s", "p"),
            breaks=("", "p", ""),
        ),
        Pattern.AT_LEAST: PatternWords(
            name="minimum duration",
            blanks={"once": "Once"},
            roles={"once": "lasts long enough"},
            says="Where 'once' begins to be true, it stays so for at least this time.",
            offered="Once …, it stays so for at least …",
            sentence="Once {once}, it stays so",
            bound="at_least",
            kept="what it speaks of is always true",
            formulas=_where_it_begins("H P", "(P K R)"),
            keeps=("", "p", "p", "", "p"),
            breaks=("", "p", "", "p"),
        ),
        Pattern.AT_MOST: PatternWords(
            name="maximum duration",
            blanks={"lasts": "Without a break"},
            roles={"lasts": "lasts not too long"},
            says="'lasts' is true for at most this time without a break.",
            offered="… lasts at most …",
            sentence="{lasts} without a break",
            bound="at_most",
            kept="what it speaks of can never be true",
            formulas=_throughout("(P -> D !P)", "(P -> (P V (!P | R)))"),
            keeps=("p", "p", "", "p", ""),
            breaks=("", "p", "p", "p", ""),
        ),
        Pattern.RECURS: PatternWords(
            name="bounded recurrence",
            blanks={"recurs": "Again and again"},
            roles={"recurs": "comes again"},
            says="'recurs' is true again each time before more than this time has passed.",
            offered="… again every …",
            sentence="{recurs} again and again",
            bound="every",
            kept="what it asks for is always true",
            formulas=_throughout("D P", "(!P V (P | R))"),
            keeps=("", "", "p", "", "p"),
            breaks=("p", "", "", "", "p"),
        ),
        Pattern.STAYS: PatternWords(
            name="bounded invariance",
            blanks={"wherever": "Wherever", "stays": "stays true"},
            roles={"wherever": "trigger", "stays": "demanded for a time"},
            says="Wherever 'wherever' is true, 'stays' is true then and for this time.",
            offered="Wherever …, … stays true for …",
            sentence="Wherever {wherever}, {stays} stays true",
            bound="for",
            kept="'stays' is always true",
            formulas=_throughout("(P -> H S)", "(P -> (S K R))"),
            keeps=("", "ps", "s", "s", ""),
            breaks=("", "ps", "", "s"),
        ),
        Pattern.NOT_YET: PatternWords(
            name="bounded absence after a beginning",
            blanks={"begins": "From the beginning of", "not_yet": "not yet"},
            roles={"begins": "beginning", "not_yet": "held off"},
            says="Where 'begins' begins to be true, 'not_yet' is false then and for this time.",
            offered="From the beginning of … on, not yet …, for …",
            sentence="From the beginning of {begins} on, not yet {not_yet}",
            bound="for",
            kept="what it holds off can never be true",
            formulas=_where_it_begins("H !S", "(!S K R)"),
            keeps=("", "p", "p", "ps"),
            breaks=("", "p", "s"),
        ),
    }
)

POSSIBLE = PATTERNS[Pattern.CAN_STILL].key
"""The key of what asks that something stays possible, for who makes requirements."""
