"""The steps that make the record's tables: in order, each whole or not at all, and never by two at once."""

from __future__ import annotations

import multiprocessing
import sqlite3
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from made_answers import RUN, SPECK, added, answer
from own_postgres import Server, shared
from sqlalchemy.engine import Connection

from cli.review.database import engine_of, parsed
from cli.review.layout import LAYOUT, RECORD, STEPS, bring_up_to_date
from cli.review.store import Look, SecondReading, Shown, Store, sqlite_url
from vision.errors import CallError

pytestmark = pytest.mark.slow


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    with shared() as server:
        yield server


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    if request.param == "sqlite":
        return sqlite_url(tmp_path / "decisions.sqlite")
    server: Server = request.getfixturevalue("server")
    return server.url(server.fresh())


@pytest.fixture
def engine(url: str) -> Iterator[sa.Engine]:
    engine = engine_of(parsed(url))
    yield engine
    engine.dispose()


def names(engine: sa.Engine) -> set[str]:
    return set(sa.inspect(engine).get_table_names()) - {"sqlite_sequence"}


def done(engine: sa.Engine) -> list[int]:
    with engine.connect() as connection:
        return list(connection.scalars(sa.select(LAYOUT.c.step).order_by(LAYOUT.c.step)))


def makes(*tables: str, then: Callable[[], None] = lambda: None) -> Callable[[Connection], None]:
    """A step that makes tables with a row each."""

    def step(connection: Connection) -> None:
        for table in tables:
            connection.exec_driver_sql(f"CREATE TABLE {table} (x INTEGER)")
            connection.exec_driver_sql(f"INSERT INTO {table} VALUES (1)")
        then()

    return step


def fails() -> None:
    raise RuntimeError("half-way")


class TestSteps:
    def test_run_in_order_once(self, engine: sa.Engine) -> None:
        ran: list[int] = []
        steps = [makes(f"t{n}", then=lambda n=n: ran.append(n)) for n in range(4)]
        bring_up_to_date(engine, steps[:2])
        bring_up_to_date(engine, steps[:2])
        assert ran == [0, 1]
        bring_up_to_date(engine, steps)
        assert ran == [0, 1, 2, 3]
        assert done(engine) == [1, 2, 3, 4]
        assert names(engine) == {"layout", "t0", "t1", "t2", "t3"}

    def test_one_that_fails_half_way_leaves_nothing_and_those_before_it_stay(self, engine: sa.Engine) -> None:
        with pytest.raises(RuntimeError, match="half-way"):
            bring_up_to_date(engine, [makes("a"), makes("b", "c", then=fails), makes("d")])
        assert names(engine) == {"layout", "a"}
        assert done(engine) == [1]
        bring_up_to_date(engine, [makes("a"), makes("b", "c"), makes("d")])
        assert names(engine) == {"layout", "a", "b", "c", "d"}
        assert done(engine) == [1, 2, 3]

    def test_a_later_one_finds_what_people_said(self, url: str, engine: sa.Engine) -> None:
        store = Store(url)
        said = [store.add_answer(answer(f"t{n}", note="🐛")) for n in range(3)]

        def wider(connection: Connection) -> None:
            connection.exec_driver_sql("ALTER TABLE answers ADD COLUMN weather TEXT NOT NULL DEFAULT ''")

        bring_up_to_date(engine, [*STEPS, wider])
        assert store.said() == said
        store.close()

    def test_of_a_later_version_are_refused_with_a_sentence(self, url: str, engine: sa.Engine) -> None:
        bring_up_to_date(engine, [*STEPS, makes("later")])
        before = names(engine)
        with pytest.raises(
            CallError, match=r"^The record was written by a later version of Speckwise: update this one"
        ):
            Store(url)
        assert names(engine) == before
        assert done(engine) == list(range(1, len(STEPS) + 2))

    def test_make_the_tables_that_the_record_reads(self, url: str, engine: sa.Engine) -> None:
        Store(url).close()
        made = sa.inspect(engine)
        assert names(engine) == set(RECORD.tables)
        for table in RECORD.tables.values():
            columns = {each["name"]: each["nullable"] for each in made.get_columns(table.name)}
            assert columns == {column.name: column.nullable for column in table.columns}


def opens(url: str, ready: Any, start: Any) -> None:
    ready.put(None)
    start.wait(30)
    Store(url).close()


class TestTwoAtOnce:
    def test_processes_open_a_new_record(self, url: str, engine: sa.Engine) -> None:
        spawn = multiprocessing.get_context("spawn")
        ready, start = spawn.Queue(), spawn.Event()
        openers = [spawn.Process(target=opens, args=(url, ready, start)) for _ in range(2)]
        for opener in openers:
            opener.start()
        for _ in openers:
            ready.get(timeout=60)
        start.set()
        for opener in openers:
            opener.join(60)
        assert [opener.exitcode for opener in openers] == [0, 0]
        assert done(engine) == list(range(1, len(STEPS) + 1))

    def test_many_threads_open_new_files_again_and_again(self, tmp_path: Path) -> None:
        # SQLite does not wait where another turns the same new file's journal into a log of writes: it says at once that it is locked.
        failed: list[BaseException] = []
        for n in range(10):
            together = threading.Barrier(4)

            def open_it(url: str = sqlite_url(tmp_path / f"{n}.sqlite"), together: Any = together) -> None:
                together.wait()
                try:
                    Store(url).close()
                except BaseException as error:
                    failed.append(error)

            threads = [threading.Thread(target=open_it) for _ in range(4)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join()
        assert not failed


def test_plain_sql_reads_a_record_without_our_code(tmp_path: Path) -> None:
    store = Store(sqlite_url(tmp_path / "a.sqlite"))
    store.add_answer(answer("a", kind="aphid", body="colony", least=3, most=5))
    store.add_speck(added("a"))
    store.add_look(Look(SPECK.shot_sha256, RUN, "Ida", 1, 2.5, "a"))
    store.note_shown([Shown(SPECK, 1.0, 2.0, 3.0)])
    store.begin_reading(SecondReading(RUN, 2, 0.25, "seed", "Ida"))
    store.close()
    connection = sqlite3.connect(tmp_path / "a.sqlite")
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
    assert connection.execute("SELECT reviewer, kind, least, most, candidate FROM answers").fetchall() == [
        ("Ida", "aphid", 3, 5, 1)
    ]
    assert connection.execute("SELECT candidate, length_px FROM added").fetchall() == [(100_001, 7.5)]
    assert connection.execute("SELECT seconds FROM looks").fetchall() == [(2.5,)]
    assert connection.execute("SELECT reach_px FROM shown").fetchall() == [(3.0,)]
    assert connection.execute('SELECT share, "by" FROM readings').fetchall() == [(0.25, "Ida")]
