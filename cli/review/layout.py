"""The tables of the record, and the ordered steps that make them: each one transaction, none ever changed once it has been used.

Rows are only ever added. The database itself refuses to change or delete one, so that no program can by mistake.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from cli.batch.record import now
from vision.errors import CallError

RECORD = sa.MetaData()

_NUMBER = sa.BigInteger().with_variant(sa.Integer, "sqlite")
"""Counted by the database, never used twice."""


def _counted(name: str, *columns: sa.Column[object] | sa.Constraint | sa.Index) -> sa.Table:
    number = sa.Column("number", _NUMBER, primary_key=True, autoincrement=True)
    return sa.Table(name, RECORD, number, *columns, sqlite_autoincrement=True)


def _text(name: str, **more: object) -> sa.Column[object]:
    return sa.Column(name, sa.Text, nullable=False, **more)  # type: ignore[arg-type]


def _speck() -> tuple[sa.Column[object], ...]:
    return (
        _text("shot_sha256"),
        _text("run"),
        sa.Column("candidate", sa.Integer, nullable=False),
    )


LAYOUT = sa.Table("layout", RECORD, sa.Column("step", sa.Integer, primary_key=True, autoincrement=False), _text("at"))
ANSWERS = _counted(
    "answers",
    _text("at"),
    _text("clock"),
    _text("token", unique=True),
    *_speck(),
    sa.Column("reading", sa.Integer, nullable=False),
    *map(_text, ("reviewer", "answer", "kind", "body", "basis", "unaided", "note", "source")),
    sa.Column("least", sa.Integer),
    sa.Column("most", sa.Integer),
    *(sa.Column(name, sa.Float) for name in ("ring_x_px", "ring_y_px", "ring_radius_px")),
    sa.Index("answers_of_a_run", "run", "shot_sha256", "candidate"),
)
ADDED = _counted(
    "added",
    _text("at"),
    _text("token", unique=True),
    *_speck(),
    _text("by"),
    *(sa.Column(name, sa.Float, nullable=False) for name in ("x_px", "y_px", "length_px", "angle_deg")),
    sa.UniqueConstraint("shot_sha256", "run", "candidate"),
)
LOOKS = _counted(
    "looks",
    _text("at"),
    _text("token", unique=True),
    _text("shot_sha256"),
    _text("run"),
    sa.Column("reading", sa.Integer, nullable=False),
    _text("reviewer"),
    sa.Column("seconds", sa.Float, nullable=False),
)
SHOWN = sa.Table(
    "shown",
    RECORD,
    *_speck(),
    *(sa.Column(name, sa.Float, nullable=False) for name in ("x_px", "y_px", "reach_px")),
    sa.PrimaryKeyConstraint("shot_sha256", "run", "candidate"),
)
READINGS = _counted(
    "readings",
    _text("at"),
    _text("run"),
    sa.Column("reading", sa.Integer, nullable=False),
    sa.Column("share", sa.Float, nullable=False),
    _text("seed"),
    _text("by"),
    sa.UniqueConstraint("run", "reading"),
)
ENTRIES = _counted(
    "entries",
    _text("at"),
    _text("clock"),
    _text("token", unique=True),
    *map(_text, ("lot", "by", "what", "body")),
)
"""What people enter on a lot beside their answers: `what` it is, and its fields as JSON in `body`."""


def _first(connection: Connection) -> None:
    RECORD.create_all(connection, tables=[ANSWERS, ADDED, LOOKS, SHOWN, READINGS], checkfirst=False)
    for table in (LAYOUT, ANSWERS, ADDED, LOOKS, SHOWN, READINGS):
        _hold(connection, table)


def _second(connection: Connection) -> None:
    RECORD.create_all(connection, tables=[ENTRIES], checkfirst=False)
    _hold(connection, ENTRIES)


def _hold(connection: Connection, table: sa.Table) -> None:
    """Makes the database refuse every change and deletion in a table."""
    sentence = f"rows of {table} are never changed"
    if connection.dialect.name == "sqlite":
        for what in ("UPDATE", "DELETE"):
            connection.exec_driver_sql(
                f"CREATE TRIGGER {table}_holds_{what.lower()} BEFORE {what} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{sentence}'); END"
            )
        # What INSERT OR REPLACE takes away sets off no trigger for deletions.
        same = " OR ".join(" AND ".join(f"{name} = NEW.{name}" for name in names) for names in _unique(table))
        connection.exec_driver_sql(
            f"CREATE TRIGGER {table}_holds_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) BEGIN SELECT RAISE(ABORT, '{sentence}'); END"
        )
    elif connection.dialect.name == "postgresql":
        connection.exec_driver_sql(
            f"CREATE FUNCTION {table}_holds() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{sentence}'; END $$"
        )
        connection.exec_driver_sql(
            f"CREATE TRIGGER {table}_holds BEFORE UPDATE OR DELETE OR TRUNCATE ON {table} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION {table}_holds()"
        )


def _unique(table: sa.Table) -> list[list[str]]:
    """Names of columns that no two rows share."""
    keys = [each for each in table.constraints if isinstance(each, sa.PrimaryKeyConstraint | sa.UniqueConstraint)]
    return sorted([column.name for column in key.columns] for key in keys)


STEPS: Sequence[Callable[[Connection], None]] = (_first, _second)
"""In order. A later version adds one and leaves those before it as they are."""


def bring_up_to_date(engine: sa.Engine, steps: Sequence[Callable[[Connection], None]] = STEPS) -> None:
    """Does the steps that the database lacks, each in one transaction. Raises CallError where it is of a later version.

    Two that open a new store at once must not both make its tables: so the engine's transactions come one at a time.
    """
    with engine.begin() as connection:
        RECORD.create_all(connection, tables=[LAYOUT])
    for number, step in enumerate(steps, start=1):
        with engine.begin() as connection:
            done = connection.scalar(sa.select(sa.func.max(LAYOUT.c.step))) or 0
            if done > len(steps):
                raise CallError("The record was written by a later version of Speckwise: update this one to open it.")
            if done < number:
                step(connection)
                connection.execute(LAYOUT.insert().values(step=number, at=now()))
