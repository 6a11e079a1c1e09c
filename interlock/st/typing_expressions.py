"""What the parts of the checker of expressions need of each other."""

from __future__ import annotations

from typing import Protocol

from interlock.base.errors import Place
from interlock.st import syntax as sx
from interlock.st import typed as ty
from interlock.st.ranges import Span
from interlock.st.types import Scope, Type


class Typer(Protocol):
    """Types operands and receives mistakes; ``expressions.ExpressionChecker`` does."""

    scope: Scope
    is_program: bool

    def refuse(self, place: Place, says: str) -> None:
        """Note a mistake."""

    def check(self, e: sx.Expression, expected: Type | None) -> ty.Expression | None:
        """`e` typed, of the type `expected` if one is given."""

    def infer(self, e: sx.Expression, expected: Type | None) -> ty.Expression | None:
        """`e` typed."""

    def number(self, e: sx.Expression, operator: str) -> ty.Expression | None:
        """`e`, which must be a number or, in a program, a duration."""

    def fitted(self, found: ty.Expression, span: Span, e: sx.Expression) -> ty.Expression | None:
        """`found` with its range."""

    def pair(
        self, left: sx.Expression, right: sx.Expression
    ) -> tuple[ty.Expression, ty.Expression] | None:
        """Two operands of one type."""
