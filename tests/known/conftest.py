"""The tests of this folder run over every engine."""

from tests.support.engines import explore

__all__ = ["explore"]
