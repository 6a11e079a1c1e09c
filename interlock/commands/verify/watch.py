"""``verify --watch``: what is saved is judged again, for as long as nobody presses Ctrl-C.

A model that means what it meant (`meaning`) has the same verdicts. Any other is judged as a whole:
states that were kept would answer only some patterns, in one engine. What is saved while a model is
judged ends that at the next place where Ctrl-C would; its answers are dropped.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import click

from interlock.base.errors import InputError
from interlock.base.interrupt import given_up_when, is_stopping, stopping_softly
from interlock.commands.exits import EXIT_BAD_INPUT, EXIT_UNDECIDED
from interlock.commands.verify.judging import Judged
from interlock.commands.verify.meaning import Meaning, meaning_of
from interlock.commands.verify.tell_changes import Telling
from interlock.commands.verify.watched_files import EVERY_S, Outdated, WatchedFiles
from interlock.model.model import Model


class Watch:
    """Judges a model and, each time that its files are saved, once more.

    Parameters
    ----------
    read : callable
        Reads the model. An `InputError` or a `click.UsageError` is a mistake to be told.
    judge : callable
    telling : Telling
    pause : callable
        Waits so many seconds.
    """

    def __init__(
        self,
        read: Callable[[], Model],
        judge: Callable[[Model], Judged],
        telling: Telling,
        pause: Callable[[float], None] = time.sleep,
    ) -> None:
        self._read, self._judge, self._telling, self._pause = read, judge, telling, pause
        self._files = WatchedFiles()
        self._last: Judged | None = None
        self._meaning: Meaning | None = None
        self._has_mistakes = False
        self._given_up = False

    def run(self) -> int:
        """Go on until Ctrl-C.

        Returns
        -------
        int
            The exit code of the last verdicts; where there are none, that of bad input where the
            files have mistakes, else that of 'undecided'.
        """
        try:
            with stopping_softly(lambda: None):
                self._look_once()
                while self._wait():
                    self._telling.saved(self._files.saved, self._given_up)
                    self._look_once()
        except KeyboardInterrupt:
            pass  # pressed a second time, or where nothing looks at the first
        self._telling.end()
        if self._last is not None:
            return self._last.code
        return EXIT_BAD_INPUT if self._has_mistakes else EXIT_UNDECIDED

    def _wait(self) -> bool:
        """Wait until something is saved, and whole; False where somebody wants an end."""
        while not is_stopping():
            if self._files.look() or self._given_up:
                self._files.settle(self._pause)
                return not is_stopping()
            self._pause(EVERY_S)
        return False

    def _look_once(self) -> None:
        """Read the files as they are now, and judge them if that is needed."""
        try:
            with self._files.noting():
                model = self._read()
            self._given_up = not self._judged(model)
            self._has_mistakes = False
        except InputError as error:
            self._mistaken([str(mistake) for mistake in error.mistakes])
        except OSError as error:
            # Who replaces whole folders may take one away just when it is listed.
            self._mistaken([f"{error.filename}: cannot be read: {error.strerror}"])
        except click.UsageError as error:
            self._mistaken([error.format_message()])

    def _mistaken(self, lines: list[str]) -> None:
        self._has_mistakes, self._given_up = True, False
        self._telling.mistakes(lines)

    def _judged(self, model: Model) -> bool:
        """Judge `model` unless that was done; whether its verdicts are known now."""
        meaning = meaning_of(model)
        if meaning == self._meaning:
            self._telling.same()
            return True
        outdated = Outdated(self._files)
        with given_up_when(outdated):
            judged = self._judge(model)
        if outdated.is_so or is_stopping():
            return False
        self._last, self._meaning = judged, meaning
        self._telling.verdicts(judged)
        return True
