"""What must occur for a requirement to have been put to the test at all."""

from __future__ import annotations

from interlock.kernel.expr import TRUE, Expr, and_, not_
from interlock.kernel.requirement import Pattern, Requirement, ScopeKind


def premise_parts(
    requirement: Requirement, inside: Expr = TRUE, was_inside: Expr = TRUE
) -> list[Expr]:
    """What must occur somewhere for the requirement to have been tested at all.

    Its premises, else P of 'leads to' and 'only after', inside the scope once that has opened; and
    the states that open and close it.

    Parameters
    ----------
    requirement : Requirement
    inside, was_inside : Expr, optional
        Whether the scope is open in the present state, and in the one judged before it.
    """
    parts = list(requirement.premises)
    if not parts and requirement.pattern in (Pattern.LEADS_TO, Pattern.ONLY_AFTER):
        parts = [requirement.p]
    parts = [and_(inside, part) for part in parts]
    scope = requirement.scope
    opens = and_(scope.opens, not_(scope.closes))
    match scope.kind:
        case ScopeKind.BEFORE:
            parts.append(scope.closes)
        case ScopeKind.AFTER:
            parts.append(scope.opens)
        case ScopeKind.AFTER_UNTIL:
            parts.append(opens)
        case ScopeKind.BETWEEN:
            parts += [opens, and_(was_inside, scope.closes)]
    return parts or [TRUE]


def settles(requirement: Requirement) -> bool:
    """Whether nothing more can go wrong in a scope of it although that is still open."""
    ends = (ScopeKind.BETWEEN, ScopeKind.AFTER_UNTIL)
    settling = (Pattern.EXISTS, Pattern.ONLY_AFTER)
    return requirement.scope.kind in ends and requirement.pattern in settling
