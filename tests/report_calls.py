"""Calls of `speckwise report` for tests: a folder of one lot with answers and entries, and what a call says. All invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from lot_folder import People, Taken, people_on, write_lots
from made_rules import rule
from test_house import forbidden

from cli.entry import run
from cli.lots.entries import RuleGiven, Sampled
from cli.lots.rule_file import rule_text

SHOTS = (Taken("water 1.jpg", 3), Taken("leaf 1.jpg", 2, piece="1", view="underside", seed=4))
Call = Callable[..., tuple[int, str, str]]


def caller(capfd: pytest.CaptureFixture[str]) -> Call:
    """Runs a command line in this process: its exit code, and what it said."""

    def made(*words: object) -> tuple[int, str, str]:
        code = run(["report", *(str(word) for word in words)])
        said = capfd.readouterr()
        assert "Traceback" not in said.err
        assert forbidden(said.out + said.err) == []
        return code, said.out, said.err

    return made


def refused(outcome: tuple[int, str, str], code: int = 2) -> str:
    """The sentence of a call that was wrong."""
    assert outcome[:2] == (code, ""), outcome
    sentence = outcome[2]
    assert sentence.startswith("speckwise: ")
    assert sentence.strip().count("\n") == 0
    assert sentence.rstrip()[-1] in ".)"
    return sentence


def answered(folder: Path) -> Path:
    """A folder of one lot, all flags answered, one insect, and what was entered, in its record."""
    write_lots(folder, *SHOTS)
    people: People = people_on(*SHOTS)
    people.answer_all()
    people.insect(people.flags("leaf 1.jpg")[0])
    people.look_at_all()
    people.enter(Sampled("1", 6, 250.0, "raw", on="2026-03-04"), RuleGiven(rule_text(rule())))
    return people.keep(folder)
