"""The record of what people said: append-only, on SQLite beside the results or on PostgreSQL."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from cli.review.answers import (
    FIRST_ADDED,
    LONGEST_TOKEN,
    READINGS,
    Added,
    Answer,
    AnswerError,
    Ring,
    Said,
    SpeckId,
    check_line,
    check_name,
)
from cli.review.database import sqlite_url as sqlite_url
from cli.review.kept_entries import KeptEntries
from cli.review.kept_rows import StoreError as StoreError
from cli.review.kept_rows import odd_clock as odd_clock
from cli.review.layout import ADDED, ANSWERS, LOOKS, SHOWN
from cli.review.layout import READINGS as ASKED

_LONGEST_LOOK_S = 1e9
_TEXTS = ("reviewer", "reading", "answer", "kind", "body", "basis", "unaided", "note", "source", "least", "most")
_ADDED = ("token", "by", "x_px", "y_px", "length_px", "angle_deg")


@dataclass(frozen=True)
class Look:
    """Somebody has looked at a whole photograph with all marks hidden."""

    shot_sha256: str
    run: str
    reviewer: str
    reading: int
    seconds: float
    token: str

    def __post_init__(self) -> None:
        check_name(self.reviewer, "A look needs the name of who looked.")
        check_line("token", self.token, LONGEST_TOKEN)
        if self.reading not in READINGS or not 0 <= self.seconds < _LONGEST_LOOK_S:
            raise AnswerError("A look is one of a reading and took some seconds.")


@dataclass(frozen=True)
class SecondReading:
    """A reading beyond the first that a supervisor has asked for. `share` of the flags, drawn by `seed`; 1 is all."""

    run: str
    reading: int
    share: float
    seed: str
    by: str
    at: str = ""
    """When it was asked for; the record says."""

    def __post_init__(self) -> None:
        check_name(self.by, "A second reading needs the name of who asks for it.")
        if self.reading not in READINGS[1:] or not 0 < self.share <= 1:
            raise AnswerError("A second reading takes a share above 0 and up to all.")


@dataclass(frozen=True)
class Shown:
    """Where a candidate lay when it was shown, in pixels of the upright picture; `reach_px`: half its length, at least."""

    speck: SpeckId
    x_px: float
    y_px: float
    reach_px: float


class Store(KeptEntries):
    """Answers are only added. Methods raise StoreError, and DiskFull where there is no room."""

    def add_answer(self, answer: Answer) -> Said:
        """Puts an answer at the end of the record and returns it with its number; the one that is there for a known token."""
        return self._once(ANSWERS, answer.token, lambda connection: self._answer_row(connection, answer), _said)

    def add_speck(self, added: Added) -> Added:
        """Puts a speck that the tool missed into the record, with the next free number of its shot."""
        return self._once(ADDED, added.token, lambda connection: self._added_row(connection, added), _added)

    def add_look(self, look: Look) -> None:
        """Notes that somebody looked at a whole photograph."""
        self._once(LOOKS, look.token, lambda _: vars(look) | {"at": self._now()}, lambda row: None)

    def begin_reading(self, asked: SecondReading) -> SecondReading:
        """Opens a second reading of a run, or returns the one that is open: drawn once, it stays drawn."""
        known = sa.select(ASKED).where(ASKED.c.run == asked.run, ASKED.c.reading == asked.reading)
        with self._said_in_words(), self._engine.begin() as connection:
            row = connection.execute(known).one_or_none()
            if row is not None:
                return _second(row._mapping)
            asked = replace(asked, at=self._now())
            connection.execute(ASKED.insert().values(**vars(asked)))
        return asked

    def note_shown(self, shown: Collection[Shown]) -> None:
        """Notes where the candidates of a run lie, once, so that answers on them can be found again by place."""
        with self._said_in_words(), self._engine.begin() as connection:
            runs = {each.speck.run for each in shown}
            known = {tuple(row) for row in connection.execute(sa.select(*_key(SHOWN)).where(SHOWN.c.run.in_(runs)))}
            new = [_shown_row(each) for each in shown if tuple(vars(each.speck).values()) not in known]
            if new:
                connection.execute(SHOWN.insert(), new)

    def said(self, runs: Collection[str] | None = None, after: int = 0) -> list[Said]:
        """Every answer in the order it was given, of some runs or of all, after a number."""
        wanted = ANSWERS.c.number > after
        if runs is not None:
            wanted &= ANSWERS.c.run.in_(runs)
        return [_said(row) for row in self._rows(sa.select(ANSWERS).where(wanted).order_by(ANSWERS.c.number))]

    def added(self, run: str) -> list[Added]:
        """Specks that people added to a run's shots, in the order they came."""
        return [_added(row) for row in self._rows(sa.select(ADDED).where(ADDED.c.run == run).order_by(ADDED.c.number))]

    def looks(self, run: str) -> list[Look]:
        """Who looked at which whole photograph of a run, in the order they did."""
        rows = self._rows(sa.select(LOOKS).where(LOOKS.c.run == run).order_by(LOOKS.c.number))
        return [Look(**{name: row[name] for name in Look.__dataclass_fields__}) for row in rows]

    def readings(self, run: str) -> list[SecondReading]:
        """Readings beyond the first of a run."""
        rows = self._rows(sa.select(ASKED).where(ASKED.c.run == run).order_by(ASKED.c.number))
        return [_second(row) for row in rows]

    def shown_before(self, shots: Collection[str], run: str) -> list[Shown]:
        """Where candidates and added specks of other runs lie on some photographs, those with an answer only."""
        answered = sa.select(ANSWERS.c.number)
        places: list[Shown] = []
        for table in (SHOWN, ADDED):
            here = [a == b for a, b in zip(_key(ANSWERS), _key(table), strict=True)]
            query = sa.select(table).where(table.c.run != run, answered.where(*here).exists())
            for row in self._rows(query):
                if row["shot_sha256"] in shots:
                    reach = row["reach_px"] if table is SHOWN else row["length_px"] / 2
                    places.append(Shown(_speck_id(row), row["x_px"], row["y_px"], reach))
        return places

    def _answer_row(self, connection: Connection, answer: Answer) -> dict[str, Any]:
        ring = answer.ring
        newest = connection.scalar(sa.select(ANSWERS.c.at).order_by(ANSWERS.c.number.desc()).limit(1))
        at = self._now()
        return {
            "at": at,
            "clock": odd_clock(at, newest or ""),
            "token": answer.token,
            **vars(answer.speck),
            **{name: getattr(answer, name) for name in _TEXTS},
            "ring_x_px": ring.x_px if ring else None,
            "ring_y_px": ring.y_px if ring else None,
            "ring_radius_px": ring.radius_px if ring else None,
        }

    def _added_row(self, connection: Connection, added: Added) -> dict[str, Any]:
        speck = added.speck
        of_shot = (ADDED.c.shot_sha256 == speck.shot_sha256) & (ADDED.c.run == speck.run)
        last = connection.scalar(sa.select(sa.func.max(ADDED.c.candidate)).where(of_shot))
        speck = replace(speck, candidate=FIRST_ADDED if last is None else last + 1)
        return {"at": self._now(), **vars(speck), **{name: getattr(added, name) for name in _ADDED}}


def _key(table: sa.Table) -> Sequence[sa.Column[Any]]:
    return [table.c.shot_sha256, table.c.run, table.c.candidate]


def _speck_id(row: Mapping[str, Any]) -> SpeckId:
    return SpeckId(row["shot_sha256"], row["run"], row["candidate"])


def _shown_row(shown: Shown) -> dict[str, Any]:
    return {**vars(shown.speck), "x_px": shown.x_px, "y_px": shown.y_px, "reach_px": shown.reach_px}


def _said(row: Mapping[str, Any]) -> Said:
    ring = None if row["ring_x_px"] is None else Ring(row["ring_x_px"], row["ring_y_px"], row["ring_radius_px"])
    texts = {name: row[name] for name in _TEXTS}
    return Said(row["number"], row["at"], row["clock"], Answer(_speck_id(row), ring=ring, token=row["token"], **texts))


def _added(row: Mapping[str, Any]) -> Added:
    numbers = {name: row[name] for name in ("x_px", "y_px", "length_px", "angle_deg")}
    return Added(_speck_id(row), by=row["by"], token=row["token"], **numbers)


def _second(row: Mapping[Any, Any]) -> SecondReading:
    return SecondReading(**{name: row[name] for name in SecondReading.__dataclass_fields__})
