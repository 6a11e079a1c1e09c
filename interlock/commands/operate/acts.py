"""What a user can ask of a desk, by the names that the page uses; everything given is checked."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from interlock.commands.operate.desk import Desk
from interlock.commands.operate.judging import Judged
from interlock.commands.operate.lines import step_back, step_on
from interlock.model.timing import TICK

MAX_TEXT = 1_000_000


class BadRequestError(Exception):
    """The page asked for something that it cannot have asked for; the text says what."""


Given = Mapping[str, Any]


def perform(desk: Desk, given: Given) -> str:
    """Do what is asked and tell in a line what happened.

    Raises
    ------
    BadRequestError
    """
    name = given.get("act")
    act = _ACTS.get(name) if isinstance(name, str) else None
    if act is None:
        raise BadRequestError("this page asks for something the bench does not know; load it again")
    session, before = desk.session, desk.session.position
    if name not in _QUIET:
        desk.notice = ""
    act(desk, given)
    if name in ("go", "step"):
        return f"Step {desk.session.position}. {_changes(desk, desk.session.position - 1)}"
    if desk.session is not session or desk.session.position <= before:
        return desk.notice
    waited = name == "wait" or given.get("move") == TICK
    return f"{desk.session.time_at(desk.session.position)}: " * waited + _changes(desk, before)


# These come without the user's asking, or end what the user began: they keep what is being read.
_QUIET = ("tick", "look", "release", "why", "confirm")


def _changes(desk: Desk, start: int) -> str:
    made = desk.session.made[max(0, start) :]
    said = [change for entry in made for change in entry.changes]
    return "; ".join(said) if said else "nothing to be seen changed" if made else ""


def _text(given: Given, name: str, longest: int = MAX_TEXT) -> str:
    value = given.get(name)
    if not isinstance(value, str) or len(value) > longest:
        raise BadRequestError(f"'{name}' is missing or too long")
    return value


def _whole(given: Given, name: str) -> int:
    value = given.get(name)
    try:
        return int(str(value)[:12])
    except ValueError:
        raise BadRequestError(f"'{name}' is no number") from None


def _control(desk: Desk, given: Given) -> tuple[str, int]:
    name, position = _text(given, "control"), _whole(given, "position")
    machine = desk.bench.model.machines.get(name)
    if machine is None or not machine.is_control or not 0 <= position < len(machine.states):
        raise BadRequestError("there is no such control; load the page again")
    return name, position


def _press(desk: Desk, given: Given) -> None:
    name, position = _control(desk, given)
    desk.tell(desk.session.set_control(name, position))


def _release(desk: Desk, given: Given) -> None:
    name, position = _control(desk, given)
    released = desk.bench.model.machines[name].released
    # What is let go may have been replaced by another press in the meantime.
    if released is not None and desk.bench.value(desk.session.state, name) == position:
        refused = desk.session.set_control(name, released)
        if refused is not None:
            desk.tell(refused)


def _set(desk: Desk, given: Given) -> None:
    desk.tell(desk.session.set_control(*_control(desk, given)))


def _move(desk: Desk, given: Given) -> None:
    name = _text(given, "move", 4_000)
    if name not in {move.name for move in desk.bench.system.moves}:
        raise BadRequestError("there is no such move; load the page again")
    desk.tell(desk.session.act(name))


def _tick(desk: Desk, _given: Given) -> None:
    if desk.session.by_itself:
        desk.session.tick()


def _wait(desk: Desk, _given: Given) -> None:
    if desk.bench.time is None:
        raise BadRequestError("this model has no time; load the page again")
    desk.tell(desk.session.let_time_pass())


def _why(desk: Desk, _given: Given) -> None:
    desk.look_why()


def _look(_desk: Desk, _given: Given) -> None:
    return


def _confirm(desk: Desk, _given: Given) -> None:
    desk.confirm()


def _go(desk: Desk, given: Given) -> None:
    desk.session.go(_whole(given, "to"))
    desk.refusals = []


def _step(desk: Desk, given: Given) -> None:
    go = step_back if _whole(given, "by") < 0 else step_on
    go(desk.session)
    desk.refusals = []


def _mode(desk: Desk, given: Given) -> None:
    desk.session.by_itself = _text(given, "to") == "auto"


def _tick_box(desk: Desk, given: Given) -> None:
    name, on = _text(given, "name"), bool(given.get("on"))
    if name == "scan_follows":
        desk.session.scan_follows = on
    elif name == "claimed":
        desk.claimed = on


def _anew(desk: Desk, _given: Given) -> None:
    desk.session.start_anew()
    desk.refusals = []


def _shut(desk: Desk, _given: Given) -> None:
    desk.refusals = []


def _take_out(desk: Desk, given: Given) -> None:
    id_ = _text(given, "id")
    if id_ not in desk.bench.struck(desk.session.state):
        raise BadRequestError("this fault has not struck; load the page again")
    desk.take_out(id_)


def _judge(desk: Desk, _given: Given) -> None:
    desk.judge()


def _stop_judging(desk: Desk, _given: Given) -> None:
    desk.served.jobs.stop(desk.task())


def _follow_found(desk: Desk, judged: Judged | None, told: str) -> None:
    if judged is None or not judged.moves:
        raise BadRequestError("there is no run of this to follow")
    desk.follow(judged, told)


def _follow(desk: Desk, given: Given) -> None:
    id_ = _requirement(desk, given)
    told = f"a shortest run that violates {id_}, {desk.bench.built.requirements[id_].says}"
    _follow_found(desk, desk.served.jobs.judged(desk.task(), id_), told)


def _requirement(desk: Desk, given: Given) -> str:
    id_ = _text(given, "id")
    if id_ not in desk.bench.built.requirements:
        raise BadRequestError("there is no such requirement; load the page again")
    return id_


def _find_example(desk: Desk, given: Given) -> None:
    task = desk.example_task(_requirement(desk, given))
    desk.served.jobs.start(task, desk.bench.model)


def _follow_example(desk: Desk, given: Given) -> None:
    id_ = _requirement(desk, given)
    judged = desk.served.jobs.judged(desk.example_task(id_), id_)
    _follow_found(desk, judged, f"a run to where {id_} has something to say")


def _follow_own(desk: Desk, given: Given) -> None:
    number = _whole(given, "number")
    if not 0 <= number < len(desk.sentences):
        raise BadRequestError("there is no such sentence; load the page again")
    sentence = desk.sentences[number]
    told = f"a shortest run that violates: {sentence.words}"
    _follow_found(desk, desk.verdict_on(sentence), told)


def _say(desk: Desk, given: Given) -> None:
    blanks = given.get("given")
    if not isinstance(blanks, dict):
        raise BadRequestError("the sentence has no blanks")
    filled = {name: _text(blanks, name, 4_000) for name in blanks if isinstance(name, str)}
    desk.say(_text(given, "pattern"), _text(given, "scope"), filled)


def _edit(desk: Desk, given: Given) -> None:
    desk.edit(_text(given, "of"))


def _leave_text(desk: Desk, _given: Given) -> None:
    desk.leave_text()


def _program(desk: Desk, given: Given) -> None:
    desk.change_program(_text(given, "text"))


def _restore(desk: Desk, _given: Given) -> None:
    desk.restore()


def _lesson(desk: Desk, given: Given) -> None:
    desk.begin_lesson(_text(given, "id"))


def _leave_lesson(desk: Desk, _given: Given) -> None:
    desk.leave_lesson()


def _open_run(desk: Desk, given: Given) -> None:
    desk.open_run(_text(given, "text"))


_ACTS: dict[str, Callable[[Desk, Given], None]] = {
    "press": _press,
    "release": _release,
    "set": _set,
    "move": _move,
    "tick": _tick,
    "wait": _wait,
    "look": _look,
    "why": _why,
    "confirm": _confirm,
    "go": _go,
    "step": _step,
    "mode": _mode,
    "tick_box": _tick_box,
    "anew": _anew,
    "shut": _shut,
    "take_out": _take_out,
    "judge": _judge,
    "stop_judging": _stop_judging,
    "follow": _follow,
    "follow_own": _follow_own,
    "find_example": _find_example,
    "follow_example": _follow_example,
    "say": _say,
    "edit": _edit,
    "leave_text": _leave_text,
    "program": _program,
    "restore": _restore,
    "lesson": _lesson,
    "leave_lesson": _leave_lesson,
    "open_run": _open_run,
}
