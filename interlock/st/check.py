"""The checker: a syntax tree becomes a typed one, or every mistake in it is told."""

from __future__ import annotations

from interlock.base.errors import InputError, Mistake
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.expressions import ExpressionChecker
from interlock.st.types import BOOL, Scope, Type


def check_expression(
    expression: sx.Expression, scope: Scope, expected: Type | None = BOOL
) -> ty.Expression:
    """Type an expression that stands by itself, as in a model file.

    Parameters
    ----------
    expression : syntax.Expression
    scope : Scope
    expected : Type or None
        The type it must have; an INT may have any range. None accepts every type.

    Raises
    ------
    InputError
        With every mistake of the expression.

    Examples
    --------
    >>> from interlock.st.parser import parse_expression
    >>> scope = Scope.of({"lift": EnumType("lift", ("DOWN", "UP"))})
    >>> check_expression(parse_expression("Lift = up"), scope).right.value
    1
    """
    mistakes: list[Mistake] = []
    found = ExpressionChecker(scope, mistakes).check(expression, expected)
    if mistakes or found is None:
        raise InputError(mistakes)
    return found
