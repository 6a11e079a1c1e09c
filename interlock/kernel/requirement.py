"""Requirement patterns, scopes and verdicts.

Source of patterns and scopes: Dwyer, Avrunin and Corbett, "Patterns in property specifications
for finite-state verification", ICSE 1999. A scope is closed on the left and open on the right.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum

from interlock.kernel.expr import TRUE, Expr, and_, const, eq, var
from interlock.kernel.system import PHASE, SCANNED_BY, MoveKind
from interlock.kernel.witness import Witness


class Pattern(Enum):
    """What a requirement says of its predicates, in plain words."""

    NEVER = "never"  # absence of P
    ALWAYS = "always"  # universality of P
    EXISTS = "exists"  # existence of P
    LEADS_TO = "leads to"  # response: P leads to S
    ONLY_AFTER = "only after"  # precedence: P only after S
    CAN_STILL = "can always still"  # from every reachable state, a state with P can be reached
    AT_LEAST = "once true stays at least"  # minimum duration of P
    AT_MOST = "lasts at most"  # maximum duration of P
    RECURS = "recurs every"  # bounded recurrence of P
    STAYS = "stays for"  # bounded invariance: wherever P, S then and for some time
    NOT_YET = "not yet for"  # from where P begins on, no S for some time


class ScopeKind(Enum):
    """Over which part of a run a requirement is judged."""

    GLOBALLY = "globally"
    BEFORE = "before"  # up to the first R; only if R ever comes
    AFTER = "after"  # from the first Q
    BETWEEN = "between"  # from Q up to R; only if R comes
    AFTER_UNTIL = "after-until"  # from Q up to R, or for ever if R never comes


@dataclass(frozen=True)
class Scope:
    """A scope with the predicates that open (Q) and close (R) it, where it has them."""

    kind: ScopeKind = ScopeKind.GLOBALLY
    opens: Expr = TRUE
    closes: Expr = TRUE


GLOBALLY = Scope()


@dataclass(frozen=True)
class Requirement:
    """One requirement over a system.

    Attributes
    ----------
    id : str
    pattern : Pattern
    p : Expr
    s : Expr
        The second predicate of 'leads to' and 'only after'; TRUE elsewhere.
    scope : Scope
    after_scan : bool
        Judge only the states that follow a completed scan.
    after_scan_of : int
        With that: number of the controller whose scans count; 0 for any.
    within : int or None
        For 'leads to': S comes at the latest after so many scans; None for 'some time'. Where time
        is counted, it comes before so many units of it have passed. Of a requirement in time: with
        so many units it has lasted for too long, or just long enough.
    counted : MoveKind
        What `within` counts: scans, or units of time.
    premises : tuple of Expr
        Conditions without any of which the requirement says nothing; their occurrences are counted.
        P of 'leads to' and 'only after' is one without being named here.
    says : str
    survives : int
        How many component faults it must survive.
    hazards : tuple of str
    """

    id: str
    pattern: Pattern
    p: Expr
    s: Expr = TRUE
    scope: Scope = GLOBALLY
    after_scan: bool = False
    after_scan_of: int = 0
    within: int | None = None
    counted: MoveKind = MoveKind.SCAN
    premises: tuple[Expr, ...] = ()
    says: str = ""
    survives: int = 0
    hazards: tuple[str, ...] = ()

    @property
    def judged(self) -> Expr:
        """In which states it is judged."""
        if not self.after_scan:
            return TRUE
        by = eq(var(SCANNED_BY), const(self.after_scan_of)) if self.after_scan_of else TRUE
        return and_(eq(var(PHASE), const(0)), by)

    @property
    def predicates(self) -> tuple[Expr, ...]:
        """All that it speaks of."""
        return (self.p, self.s, *self.premises, self.scope.opens, self.scope.closes)


class Outcome(Enum):
    """The three verdicts. Running out of budget is never 'holds'."""

    HOLDS = "holds"
    VIOLATED = "violated"
    UNDECIDED = "undecided"


@dataclass(frozen=True)
class Verdict:
    """What is known of one requirement.

    Attributes
    ----------
    requirement : str
        Its id.
    outcome : Outcome
    witness : Witness or None
        A shortest violating run, over the variables of the system it was asked of.
    n_premise : int
        Reachable states in which the premise occurred; a lower bound if `limit` is set.
    n_states : int
    depth : int or None
        Size of the exploration behind the verdict.
    limit : str or None
        The limit that was hit, for `UNDECIDED`.
    doubt : str
        Why it is undecided although nothing that was explored violates it; empty elsewhere.
    seconds : float
    engine : str
    because : str
        Why that engine answered it; empty where nobody had to choose.
    parts : mapping of str to int
        Premise counts by the text of each part, where the premise has several.
    scans : int or None
        For a response within a bound: the most scans, or units of time, that ever passed before it
        came, so far as it came in time; None where it never had to come. Of another requirement in
        time the most, or fewest, units that ever passed; None where nothing was measured.
    """

    requirement: str
    outcome: Outcome
    witness: Witness | None
    n_premise: int
    n_states: int
    depth: int | None
    limit: str | None
    seconds: float
    engine: str = ""
    because: str = ""
    parts: Mapping[str, int] = field(default_factory=dict)
    scans: int | None = None
    doubt: str = ""

    @property
    def vacuous(self) -> bool:
        """The requirement holds, but only because its premise never occurred."""
        return self.outcome is Outcome.HOLDS and self.n_premise == 0

    def __bool__(self) -> bool:
        raise TypeError("a verdict has three values; compare `outcome`")
