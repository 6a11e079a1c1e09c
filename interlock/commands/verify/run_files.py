"""The runs of a verification as files: each violation seen, timed, and to be read by tools.

For each violated requirement a folder of its name gets

=================  =================================================================
``steps.svg``      the side view of each step on one sheet
``step-NN.svg``    the side view after step NN, the whole drawing; 00 is power-up; scans
                   that change nothing are left out
``timing.svg``     the timing diagram with the program's lines that decided
``run.csv``        every state, as `interlock.telling.csv_log` tells
``run.vcd``        the same as a value change dump (IEEE 1364)
``run.json``       the moves alone, as `interlock.independent_judge.run_file` tells
=================  =================================================================
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from interlock.base.files import write_whole
from interlock.independent_judge.moments import moments_of
from interlock.independent_judge.run_file import record, to_text
from interlock.judgement.finding import Finding, Verification
from interlock.model.model import Model
from interlock.pictures.collection import draw_run
from interlock.pictures.frames import frames_of_run
from interlock.pictures.side_view import SideView
from interlock.telling.csv_log import to_csv
from interlock.telling.vcd import NotInstalledError, to_vcd


def write_runs(folder: Path, result: Verification, every: bool = False) -> list[str]:
    """Write the files of every violation into `folder`.

    Parameters
    ----------
    folder : Path
    result : Verification
    every : bool
        Whether timing diagrams show what never changes, too.

    Returns
    -------
    list of str
        What could not be written, and why, each once.
    """
    missing: dict[str, None] = {}
    for finding in result.findings:
        if finding.run is None:
            continue
        here = folder / finding.requirement.id
        try:
            for name, content in run_files(result.built.model, finding, every):
                write_whole(here / name, content)
        except NotInstalledError as reason:
            missing[str(reason)] = None
    return list(missing)


def run_files(model: Model, finding: Finding, every: bool = False) -> Iterator[tuple[str, str]]:
    """Name and content of each file of a violation; the value change dump is the last.

    Raises
    ------
    NotInstalledError
        At the last, where the library that writes it is missing.
    """
    run = finding.run
    assert run is not None
    id_ = finding.requirement.id
    moves = [happening.move for happening in run.happenings]
    for picture in draw_run(model, finding, ("steps", "timing"), every):
        yield f"{picture.name.removesuffix(f'-{id_}')}.svg", picture.text
    view = SideView(model)
    digits = max(2, len(str(len(moves))))
    for frame in frames_of_run(model, run):
        when = f"step {frame.head}: {frame.says}" if frame.number else "power-up"
        title = f"{id_}, {when}"
        yield f"step-{frame.number:0{digits}}.svg", view.draw(frame.values, title=title)
    moments = moments_of(model, moves)
    yield "run.csv", to_csv(model, moments)
    says = f"violates {id_}: {finding.requirement.says}"
    yield "run.json", to_text(record(model, moves, run.loop_start, says))
    yield "run.vcd", to_vcd(model, moments)
