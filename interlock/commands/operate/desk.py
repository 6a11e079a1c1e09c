"""All that belongs to one browser: its run, what it was last told, its drafts and its lesson.

All browsers share the model that is served, its benches made so far, its jobs and its lessons.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from interlock.base.errors import InputError, InternalError, nearest
from interlock.commands.operate.bench import BEYOND, Bench, key_of
from interlock.commands.operate.drafts import (
    SENTENCE,
    Wrong,
    WrongDraftError,
    in_words,
    try_program,
    try_sentence,
)
from interlock.commands.operate.judging import Job, Jobs, Judged, Task
from interlock.commands.operate.lessons import Lesson, load_lessons
from interlock.commands.operate.listing import short_name
from interlock.commands.operate.session import Entry, Refusal, Session
from interlock.independent_judge.run_file import (
    parse_run,
    record,
    replay_file,
    to_text,
    violated_by,
)
from interlock.kernel.evaluate import State
from interlock.kernel.requirement import Outcome
from interlock.kernel.system import Origin
from interlock.model.declined import load_for
from interlock.model.model import Model

_BENCHES = 12
_SENTENCES = 8


class ServedModel:
    """The model that is served, with what all browsers share of it.

    Parameters
    ----------
    model : Model
        As it was read from its folder.
    jobs : Jobs
    """

    def __init__(self, model: Model, jobs: Jobs) -> None:
        self.model = model
        self.jobs = jobs
        self.lessons: Mapping[str, Lesson] = load_lessons(model.folder)
        self._benches: OrderedDict[str, Bench] = OrderedDict()
        self._lock = threading.Lock()
        self.bench(model)

    def find(self, key: str) -> Bench | None:
        """A bench that was made before."""
        return self._benches.get(key)

    def bench(self, model: Model) -> Bench:
        """The bench of a model, made at the first time."""
        key = key_of(model)
        with self._lock:
            if key in self._benches:
                self._benches.move_to_end(key)
                return self._benches[key]
        made = Bench(model)
        with self._lock:
            self._benches[key] = made
            while len(self._benches) > _BENCHES:
                self._benches.popitem(last=False)
        return made


@dataclass
class Sentence:
    """A requirement of the user's own on its way to a verdict."""

    words: str
    task: Task
    changed: bool


class Desk:
    """One browser's place.

    Parameters
    ----------
    served : ServedModel
    """

    def __init__(self, served: ServedModel) -> None:
        self.served = served
        self.home: Path = served.model.folder
        self.on_disk: Model = served.model
        self.lesson: Lesson | None = None
        self.claimed = False
        self.sentences: list[Sentence] = []
        self.sentence_mistakes: list[Wrong] = []
        self.session = Session(served.bench(served.model))
        self._settle(served.model)

    def _settle(self, model: Model, keep: bool = False) -> None:
        """Operate `model` from power-up on; with `keep` the sentences stay."""
        old = self.session
        self.session = Session(self.served.bench(model))
        self.session.by_itself, self.session.scan_follows = old.by_itself, old.scan_follows
        self.editing = False
        self.file = self.bench.listing.file
        self.text = self.bench.listing.text_of(self.file)
        self.text_mistakes: list[Wrong] = []
        self.refusals: list[Refusal] = []
        self.notice = ""
        self._explained: State | None = None
        self._confirmed: dict[str, Entry] = {}
        if not keep:
            self.sentences, self.sentence_mistakes = [], []

    @property
    def bench(self) -> Bench:
        """The bench that the run is on."""
        return self.session.bench

    @property
    def is_changed(self) -> bool:
        """Whether the program is another than that in the model's folder."""
        return self.bench.key != key_of(self.on_disk)

    # The run

    def tell(self, refusal: Refusal | None) -> None:
        """Keep what was refused, or forget what was before."""
        # What the user asked last stays told; the page does not ask why by itself on top of it.
        self._explained = None if refusal is None else self.session.state
        self.refusals = [] if refusal is None else [refusal]

    @property
    def is_puzzled(self) -> bool:
        """Whether a button is held, nothing moves any more, and nobody has said why."""
        session = self.session
        asked = session.state == self._explained
        return not asked and bool(session.held()) and session.is_at_rest

    def look_why(self) -> None:
        """While a button is held and nothing moves any more, find out why."""
        self.refusals = []
        self._explained = self.session.state
        if self.session.held() and self.session.is_at_rest:
            self.refusals = self.session.why_nothing_moves()
            if not self.refusals:
                self.notice = "With this button held, nothing is left to move."

    def unconfirmed(self) -> dict[str, int]:
        """The violations that the independent machine has not replayed yet, with their steps."""
        return {
            id_: step
            for id_, step in self.session.violations().items()
            if self._confirmed.get(id_) is not self.session.at(step)
        }

    def confirm(self) -> None:
        """Replay what is violated on the independent machine.

        Raises
        ------
        InternalError
            Where that machine finds no violation.
        """
        waiting = self.unconfirmed()
        moves = [entry.move for entry in self.session.made]
        for step in sorted(set(waiting.values())):
            wanted = [id_ for id_, at in waiting.items() if at == step]
            found = violated_by(self.bench.model, moves[:step], wanted)
            for id_ in wanted:
                if id_ not in found:
                    raise InternalError(
                        f"{id_} shows as violated in step {step}, and the replay finds it kept"
                    )
                self._confirmed[id_] = self.session.at(step)

    def take_out(self, fault: str) -> None:
        """Play the run up to here again without a fault that struck in it, as far as it goes."""
        session = self.session
        gone = (Origin.strike(fault).move_name, Origin.clearing(fault).move_name)
        moves = [entry.move for entry in session.made if entry.move not in gone]
        by_itself = session.by_itself
        refused = session.show(moves, None, "")
        session.go(len(session.entries))
        session.by_itself = by_itself
        self.tell(refused)
        far = "" if refused is None else ", as far as it goes"
        self.notice = f"The same run without {fault}{far}."

    def follow(self, judged: Judged, told: str) -> None:
        """Show the run of a violation, from its beginning."""
        self.tell(self.session.show(judged.moves, judged.loop_start, told))

    def run_file(self) -> str:
        """The run up to the present step, as a file."""
        session = self.session
        moves = [entry.move for entry in session.made]
        loop = session.loop_start if session.position == len(session.entries) else None
        return to_text(record(self.bench.model, moves, loop, says=session.told))

    def open_run(self, text: str) -> None:
        """Replay a run file and show it."""
        try:
            run = parse_run(text, "run")
            played = replay_file(self.bench.model, run)
        except InputError as error:
            self.notice = f"The run cannot be replayed: {error.mistakes[0]}"
            return
        told = f"a run from a file{': ' + run.says if run.says else ''}"
        self.tell(self.session.show(run.moves, run.loop_start, told))
        if played.notes:
            self.notice = f"Replayed; {'; '.join(played.notes)}."

    # Judging

    def task(self) -> Task:
        """The task of judging all that the present model requires."""
        return Task(self.bench.key, self.claimed)

    def job(self) -> Job | None:
        """The job of that task, where it was started."""
        return self.served.jobs.find(self.task())

    def judge(self) -> None:
        """Have all requirements judged in the background."""
        self.served.jobs.start(self.task(), self.bench.model)

    def example_task(self, id_: str) -> Task:
        """The task of finding a run to the premise of a requirement."""
        return Task(self.bench.key, only=id_, example=True)

    def open_jobs(self) -> list[Job]:
        """Jobs that this desk waits for."""
        wanted = [self.task(), *(sentence.task for sentence in self.sentences)]
        wanted += [self.example_task(id_) for id_ in self.bench.built.requirements]
        found = [self.served.jobs.find(task) for task in wanted]
        return [job for job in found if job is not None and job.is_open]

    def say(self, pattern: str, scope: str, given: dict[str, str]) -> None:
        """Check a filled sentence and have it judged."""
        self.sentence_mistakes = []
        try:
            model = try_sentence(self.home, self.bench.model, pattern, scope, given)
        except WrongDraftError as error:
            self.sentence_mistakes = error.mistakes
            return
        task = Task(key_of(model), only=SENTENCE)
        self.served.jobs.start(task, model)
        words = in_words(pattern, scope, given)
        rest = [sentence for sentence in self.sentences if sentence.task != task]
        self.sentences = [Sentence(words, task, self.is_changed), *rest][:_SENTENCES]

    def verdict_on(self, sentence: Sentence) -> Judged | None:
        """What came of a sentence, where it is judged."""
        return self.served.jobs.judged(sentence.task, SENTENCE)

    # The program

    def edit(self, file: str) -> None:
        """Show the text of one of the program's files to be changed."""
        self.text = self.bench.listing.text_of(file)
        self.file, self.editing, self.text_mistakes = file, True, []

    def change_program(self, text: str) -> None:
        """Operate the model with another text of the file that is being changed."""
        try:
            model = try_program(self.home, self.bench.model, self.file, text)
        except WrongDraftError as error:
            self.text, self.text_mistakes = text, error.mistakes
            return
        self._operate(model if _program_of(model) != _program_of(self.on_disk) else self.on_disk)

    def restore(self) -> None:
        """Operate the program as it is in the model's folder."""
        self._operate(self.on_disk)

    def _operate(self, model: Model) -> None:
        self._settle(model, keep=True)
        self.notice = "The program was changed; the run begins at power-up. Nothing was written."
        if self.lesson is not None:
            self.judge()

    def leave_text(self) -> None:
        """Show the program that is operated again; what was typed is forgotten."""
        self.editing, self.text_mistakes = False, []

    @property
    def changed_files(self) -> list[str]:
        """The files of the program whose texts are others than in the model's folder."""
        kept = _program_of(self.on_disk)
        sheets = self.bench.listing.sheets
        return [sheet.file for sheet in sheets if kept.get(sheet.file) != sheet.text]

    # Lessons

    def begin_lesson(self, id_: str) -> None:
        """Put the model of a lesson on the bench."""
        lesson = self.served.lessons.get(id_)
        if lesson is None:
            self.notice = f"There is no lesson '{id_}'{nearest(id_, self.served.lessons)}."
            return
        try:
            model = load_for("the bench", lesson.folder, *BEYOND)
        except InputError as error:
            self.notice = f"The lesson's model cannot be read: {error.mistakes[0]}"
            return
        self.lesson, self.home, self.on_disk = lesson, lesson.folder, model
        self._settle(model)

    def leave_lesson(self) -> None:
        """Back to the model that is served."""
        self.lesson, self.home, self.on_disk = None, self.served.model.folder, self.served.model
        self._settle(self.served.model)

    def lesson_is_done(self) -> bool:
        """Whether what the lesson asks for was reached."""
        if self.lesson is None:
            return False
        if not self.lesson.is_mend:
            verdicts = [self.verdict_on(sentence) for sentence in self.sentences]
            return any(
                v is not None and v.outcome is Outcome.HOLDS and not v.vacuous for v in verdicts
            )
        job = self.job()
        if not self.is_changed or job is None or job.stage != "done":
            return False
        return all(v.outcome is Outcome.HOLDS and not v.vacuous for v in job.findings.values())


def _program_of(model: Model) -> dict[str, str]:
    """The texts of a program by the short names of their files."""
    return {short_name(name): text for name, text in model.program_texts.items()}
