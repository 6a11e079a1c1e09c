"""What is asked along legs, answered in an explored space."""

from __future__ import annotations

from interlock.base.errors import InternalError
from interlock.engines.enumerate.legs import Route, Until, Walk
from interlock.engines.enumerate.longest import Longest
from interlock.engines.enumerate.space import Space
from interlock.kernel.query import Answer, FewestScans, MostScans, Occurs, Query, Reach


def answer_along(
    space: Space, query: Query, route: Route, function: int, longest: Longest | None
) -> Answer:
    """Answer one query along a route.

    Parameters
    ----------
    space : Space
    query : Query
    route : Route
    function : int
        Address of the function that gives the flags of a state.
    longest : Longest or None
        The most that the route's counted leg ever counts, where that is less than it asks for.
    """
    match query:
        case Reach():
            return _reached(space, route, function, longest)
        case Occurs():
            return _occurred(space, route, function)
        case MostScans():
            return _most(space, route, function, longest)
        case FewestScans():
            return _fewest(space, route, function)
        case _:
            raise InternalError(f"{type(query).__name__} goes along no legs")


def _reached(space: Space, route: Route, function: int, longest: Longest | None) -> Answer:
    if longest is not None:
        return Answer(_nothing_found(space))
    walk = Walk(space, route, function, Until.FIRST)
    try:
        if walk.n_hits:
            return Answer(True, walk.witness_to(0))
        return Answer(_nothing_found(space, walk))
    finally:
        walk.close()


def _occurred(space: Space, route: Route, function: int) -> Answer:
    walk = Walk(space, route, function, Until.FIRST)
    walk.close()
    is_known = space.complete and (walk.complete or walk.n_hits > 0)
    return Answer(False if is_known else None, None, int(walk.n_hits > 0))


def _most(space: Space, route: Route, function: int, longest: Longest | None) -> Answer:
    if longest is not None:
        return _of_number(longest.to_hit, _nothing_found(space))
    walk = Walk(space, route, function, Until.ALL_IN_LAST)
    walk.close()
    return _of_number(walk.most_scans, _nothing_found(space, walk))


def _fewest(space: Space, route: Route, function: int) -> Answer:
    walk = Walk(space, route, function, Until.ALL_IN_LAST)
    fewest = walk.fewest_scans
    walk.close()
    return _of_number(fewest, _nothing_found(space, walk))


def _of_number(number: int | None, found: bool | None) -> Answer:
    return Answer(found, values=() if number is None else ((number,),))


def _nothing_found(space: Space, walk: Walk | None = None) -> bool | None:
    return False if space.complete and (walk is None or walk.complete) else None
