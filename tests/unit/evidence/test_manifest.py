"""A manifest is told apart from what only looks like one, with the place where it differs."""

from __future__ import annotations

import json
from hashlib import sha256
from typing import Any

import pytest

from interlock.base.errors import InputError
from interlock.evidence.manifest import Manifest, parse, to_text

MANIFEST = Manifest(
    interlock="1",
    model="model.yaml",
    folder="..",
    title="a gate",
    inputs={},
    between_scans="one",
    classes={},
    systems={},
    verdicts={},
    files={},
)


def sealed(data: dict[str, Any]) -> bytes:
    """As a forger would write it: with a right seal."""
    plain = json.dumps(data, indent=1) + "\n"
    seal = sha256(plain.encode()).hexdigest()
    return (json.dumps({**data, "seal": seal}, indent=1) + "\n").encode()


def test_what_is_written_is_read() -> None:
    text = to_text(MANIFEST)
    assert parse(text.encode(), "manifest.json") == MANIFEST
    assert sealed(MANIFEST.model_dump()).decode() == text


@pytest.mark.parametrize(
    ("key", "value", "line"),
    [("interlock_evidence", 3, 2), ("title", 5, 6), ("unknown", "x", 13)],
)
def test_what_is_sealed_and_no_manifest_is_told_with_its_line(
    key: str, value: object, line: int
) -> None:
    with pytest.raises(InputError) as caught:
        parse(sealed({**MANIFEST.model_dump(), key: value}), "manifest.json")
    (mistake,) = caught.value.mistakes
    assert (mistake.place.file, mistake.place.line) == ("manifest.json", line)
    assert mistake.says.startswith(f"{key}: ")


def test_one_letter_that_differs_breaks_the_seal() -> None:
    text = to_text(MANIFEST).replace("a gate", "a date")
    with pytest.raises(InputError, match="its seal does not fit"):
        parse(text.encode(), "manifest.json")
