"""The record, on SQLite and on a PostgreSQL of the tests' own: what goes in stands there once, in order, for good, and comes back."""

from __future__ import annotations

import itertools
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import psycopg
import pytest
from hypothesis import HealthCheck, given, settings
from made_answers import OTHER_RUN, OTHER_SHOT, RUN, SHOT, SPECK, added, answer, meant
from own_postgres import Server
from own_records import Place

from cli.lots.entries import Entered, LotOf
from cli.review.answers import FIRST_ADDED, TAKEN_BACK, AnswerError, Ring, SpeckId
from cli.review.layout import STEPS
from cli.review.store import Look, SecondReading, Shown, Store, StoreError, odd_clock, sqlite_url
from vision.errors import DiskFull

TABLES = ("answers", "added", "looks", "shown", "readings", "layout", "entries")
TOKENS = (f"t{n}" for n in itertools.count())


def at_once(acts: Sequence[Callable[[], Any]]) -> None:
    """Does all of them, each in a thread of its own, and raises what one of them raised."""
    start, failed = threading.Barrier(len(acts)), []

    def do(act: Callable[[], Any]) -> None:
        start.wait()
        try:
            act()
        except BaseException as error:
            failed.append(error)

    threads = [threading.Thread(target=do, args=(act,)) for act in acts]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failed:
        raise failed[0]


@pytest.fixture(params=["one store", "a store each"])
def eight(request: pytest.FixtureRequest, place: Place) -> Iterator[list[Store]]:
    """A store for each of eight writers."""
    opened = [place.open() for _ in range(1 if request.param == "one store" else 8)]
    yield opened * (8 // len(opened))
    for each in opened:
        each.close()


class TestOnceEach:
    def test_a_token_brought_twice_is_one_row(self, place: Place, store: Store) -> None:
        first = store.add_answer(answer("a"))
        assert store.add_answer(answer("a")) == first
        # Whatever else it says: the act is the same one.
        assert store.add_answer(answer("a", "not_insect")) == first
        assert store.add_speck(added("a")) == store.add_speck(added("a"))
        for _ in range(2):
            store.add_look(Look(SHOT, RUN, "Ida", 1, 2.5, "a"))
        assert [len(place.plain(f"SELECT * FROM {name}")) for name in TABLES[:3]] == [1, 1, 1]

    def test_from_eight_at_once(self, eight: list[Store]) -> None:
        numbers: list[int] = []
        at_once([lambda store=store: numbers.append(store.add_answer(answer("a")).number) for store in eight])
        assert len(numbers) == 8
        assert len({*numbers}) == len(eight[0].said()) == 1

    def test_without_a_token_is_a_fault_of_our_own(self, store: Store) -> None:
        with pytest.raises(ValueError, match="token"):
            store.add_answer(answer(""))

    def test_a_second_reading_is_begun_once(self, place: Place, store: Store) -> None:
        begun = store.begin_reading(SecondReading(RUN, 2, 0.25, "seed", "Ida"))
        assert begun == SecondReading(RUN, 2, 0.25, "seed", "Ida", begun.at)
        datetime.fromisoformat(begun.at)
        assert store.begin_reading(SecondReading(RUN, 2, 1.0, "other", "Jon")) == begun
        third, other = (replace(begun, reading=3), replace(begun, run=OTHER_RUN))
        store.begin_reading(third)
        store.begin_reading(other)
        assert [each.reading for each in store.readings(RUN)] == [2, 3]
        assert len(store.readings(OTHER_RUN)) == 1
        assert len(place.plain("SELECT * FROM readings")) == 3

    def test_a_second_reading_is_begun_once_by_eight_at_once(self, eight: list[Store]) -> None:
        begun: list[SecondReading] = []
        asked = [SecondReading(RUN, 2, 0.5, f"seed{n}", "Ida") for n in range(8)]
        pairs = zip(eight, asked, strict=True)
        at_once([lambda store=store, one=one: begun.append(store.begin_reading(one)) for store, one in pairs])
        assert len({each.seed for each in begun}) == 1
        assert store_of(eight).readings(RUN) == begun[:1]

    def test_what_was_shown_is_noted_once(self, place: Place, store: Store) -> None:
        places = [Shown(SpeckId(SHOT, RUN, n), 1.5 * n, 2.0, 6.0) for n in range(1, 4)]
        store.note_shown(places[:2])
        store.note_shown([*places, replace(places[0], x_px=99.0, speck=places[0].speck)])
        store.note_shown([])
        store.note_shown([replace(places[0], speck=SpeckId(SHOT, OTHER_RUN, 1))])
        rows = place.plain(f"SELECT candidate, x_px FROM shown WHERE run = '{RUN}' ORDER BY candidate")
        assert rows == [(1, 1.5), (2, 3.0), (3, 4.5)]

    def test_what_was_shown_is_noted_once_by_eight_at_once(self, place: Place, eight: list[Store]) -> None:
        places = [Shown(SpeckId(SHOT, RUN, n), 1.5 * n, 2.0, 6.0) for n in range(1, 40)]
        at_once([lambda store=store: store.note_shown(places) for store in eight])
        assert place.plain("SELECT count(*) FROM shown") == [(39,)]


def store_of(stores: list[Store]) -> Store:
    return stores[0]


class TestNumbers:
    def test_of_added_specks_count_from_the_first_of_each_shot(self, store: Store) -> None:
        places = [("a", SHOT, RUN), ("b", SHOT, RUN), ("c", OTHER_SHOT, RUN), ("d", SHOT, OTHER_RUN), ("e", SHOT, RUN)]
        numbers = [store.add_speck(added(*each)).speck.candidate - FIRST_ADDED for each in places]
        assert FIRST_ADDED == 100_001
        assert numbers == [0, 1, 0, 0, 2]
        assert [each.token for each in store.added(RUN)] == ["a", "b", "c", "e"]

    def test_of_added_specks_are_lost_and_doubled_by_none_of_eight(self, eight: list[Store]) -> None:
        def add(writer: int) -> None:
            for n in range(10):
                eight[writer].add_speck(added(f"{writer}-{n}"))

        at_once([lambda writer=writer: add(writer) for writer in range(8)])
        stand = eight[0].added(RUN)
        assert [each.speck.candidate for each in stand] == list(range(FIRST_ADDED, FIRST_ADDED + 80))
        assert {each.token for each in stand} == {f"{writer}-{n}" for writer in range(8) for n in range(10)}

    def test_of_answers_rise_for_every_writer_and_none_is_lost(self, place: Place, eight: list[Store]) -> None:
        given_back: list[list[int]] = [[] for _ in range(8)]

        def write(writer: int) -> None:
            for n in range(50):
                given_back[writer].append(eight[writer].add_answer(answer(f"{writer}-{n}", candidate=writer)).number)

        # Whoever follows the record by the last number it saw misses none either, while they write.
        followed: list[int] = []

        def follow() -> None:
            while len(followed) < 400:
                followed.extend(each.number for each in reader.said(after=max(followed, default=0)))
                time.sleep(0.005)

        reader = place.open()
        at_once([follow, *(lambda writer=writer: write(writer) for writer in range(8))])
        reader.close()
        assert all(numbers == sorted({*numbers}) for numbers in given_back)
        assert sorted(itertools.chain(*given_back)) == followed == [each.number for each in eight[0].said()]
        rows = place.plain("SELECT number, token FROM answers ORDER BY number")
        assert rows == [(each.number, each.answer.token) for each in eight[0].said()]
        assert {token for _, token in rows} == {f"{writer}-{n}" for writer in range(8) for n in range(50)}

    def test_go_on_where_the_last_program_stopped(self, place: Place) -> None:
        for n in range(3):
            store = place.open()
            store.add_answer(answer(f"t{n}"))
            store.close()
        numbers = [number for (number,) in place.plain("SELECT number FROM answers ORDER BY number")]
        assert numbers == [1, 2, 3]


class TestForGood:
    @pytest.mark.parametrize("table", TABLES)
    def test_the_database_itself_changes_no_row(self, place: Place, store: Store, table: str) -> None:
        store.add_answer(answer("a"))
        store.add_speck(added("a"))
        store.add_look(Look(SHOT, RUN, "Ida", 1, 2.5, "a"))
        store.note_shown([Shown(SPECK, 1.0, 2.0, 3.0)])
        store.begin_reading(SecondReading(RUN, 2, 0.25, "seed", "Ida"))
        store.add_entry(Entered("lot 7", "Ida", LotOf(40), "a"))
        column = {"layout": "at", "shown": "reach_px"}.get(table, "number")
        tries = [f"UPDATE {table} SET {column} = {column}", f"DELETE FROM {table}"]
        if place.url.startswith("sqlite"):
            copied = f"INTO {table} SELECT * FROM {table}"
            tries += [f"UPDATE OR IGNORE {table} SET {column} = '7'", f"INSERT OR REPLACE {copied}"]
        else:
            tries += [f"TRUNCATE {table} CASCADE", f"DELETE FROM {table} WHERE false"]
        before = place.plain(f"SELECT * FROM {table}")
        for sql in tries:
            with pytest.raises((sqlite3.IntegrityError, psycopg.errors.RaiseException), match="are never changed"):
                place.plain(sql)
        assert place.plain(f"SELECT * FROM {table}") == before
        assert len(before) == (len(STEPS) if table == "layout" else 1)

    def test_nor_replaces_one_that_shares_a_token_or_a_number_alone(self, tmp_path: Path) -> None:
        store = Store(sqlite_url(tmp_path / "a.sqlite"))
        store.add_answer(answer("a"))
        store.add_speck(added("a"))
        store.close()
        connection = sqlite3.connect(tmp_path / "a.sqlite")
        columns = [row[1] for row in connection.execute("PRAGMA table_info(added)")]
        (row,) = connection.execute("SELECT * FROM added").fetchall()
        for shared_by in ({"number"}, {"token"}, {"shot_sha256", "run", "candidate"}):
            other = {"number": 9, "token": "z", "candidate": 9}
            values = [
                old if name in shared_by else other.get(name, old) for name, old in zip(columns, row, strict=True)
            ]
            with pytest.raises(sqlite3.IntegrityError, match="are never changed"):
                connection.execute(f"REPLACE INTO added VALUES ({','.join('?' * len(values))})", values)
        assert connection.execute("SELECT * FROM added").fetchall() == [row]


class TestComesBack:
    @given(fields=meant())
    @settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    def test_as_it_went_in(self, place: Place, store: Store, fields: dict[str, Any]) -> None:
        given_in = answer(next(TOKENS), fields.pop("answer"), **fields)
        said = store.add_answer(given_in)
        assert said.answer == given_in
        assert store.said(after=said.number - 1) == [said]
        # As the database's own module reads it.
        columns = "note, reviewer, kind, least, ring_radius_px"
        (row,) = place.plain(f"SELECT {columns} FROM answers WHERE number = {said.number}")
        ring = given_in.ring
        assert row == (given_in.note, given_in.reviewer, given_in.kind, given_in.least, ring and ring.radius_px)

    def test_what_was_left_out_is_left_out(self, store: Store) -> None:
        store.add_answer(answer("a", TAKEN_BACK))
        store.add_answer(answer("b", body="colony", least=1, most=2))
        store.add_answer(answer("c", body="colony", least=1, most=2, ring=Ring(0.0, -0.1, 5e-324)))
        said = [each.answer for each in store.said()]
        assert [(each.least, each.ring) for each in said] == [(None, None), (1, None), (1, Ring(0.0, -0.1, 5e-324))]

    def test_added_specks_and_looks(self, store: Store) -> None:
        given_in = added("a", x_px=1 / 3, y_px=-0.5, length_px=0.0, angle_deg=-179.9)
        kept = store.add_speck(given_in)
        assert kept == replace(given_in, speck=SpeckId(SHOT, RUN, FIRST_ADDED))
        assert store.added(RUN) == [kept]
        looks = [Look(SHOT, RUN, name, 1, 1 / 3, token) for token, name in (("a", "Ida"), ("b", "שלום 🐛"))]
        for look in looks:
            store.add_look(look)
        assert store.looks(RUN) == looks
        assert store.looks(OTHER_RUN) == store.added(OTHER_RUN) == []

    def test_by_run_and_after_a_number(self, store: Store) -> None:
        runs = {"a": RUN, "b": OTHER_RUN, "c": RUN, "d": OTHER_RUN}
        numbers = {t: store.add_answer(answer(t, speck=SpeckId(SHOT, run, 1))).number for t, run in runs.items()}

        def tokens(**which: Any) -> str:
            return "".join(each.answer.token for each in store.said(**which))

        assert tokens() == tokens(runs=[RUN, OTHER_RUN]) == tokens(after=-5) == "abcd"
        assert tokens(runs=[RUN]) == "ac"
        assert tokens(runs={OTHER_RUN}, after=numbers["b"]) == "d"
        assert tokens(after=numbers["d"]) == tokens(runs=[]) == tokens(runs=["r'; --"]) == ""

    def test_places_of_other_runs_where_somebody_answered(self, store: Store) -> None:
        shown = [
            Shown(SpeckId(shot, run, n), 10.0 * n, 5.0, 6.5)
            for shot in (SHOT, OTHER_SHOT)
            for run in (RUN, OTHER_RUN)
            for n in (1, 2)
        ]
        store.note_shown(shown)
        by_hand = store.add_speck(added("a", run=OTHER_RUN, length_px=9.0))
        silent = store.add_speck(added("b", run=OTHER_RUN))
        for n, speck in enumerate(
            [SpeckId(SHOT, OTHER_RUN, 1), SpeckId(OTHER_SHOT, OTHER_RUN, 2), SpeckId(SHOT, RUN, 2), by_hand.speck]
        ):
            store.add_answer(answer(f"t{n}", speck=speck))
        found = store.shown_before([SHOT], RUN)
        assert found == [
            Shown(SpeckId(SHOT, OTHER_RUN, 1), 10.0, 5.0, 6.5),
            Shown(by_hand.speck, by_hand.x_px, by_hand.y_px, 4.5),
        ]
        assert silent.speck not in {each.speck for each in found}
        assert [each.speck for each in store.shown_before([SHOT, OTHER_SHOT], OTHER_RUN)] == [SpeckId(SHOT, RUN, 2)]
        assert store.shown_before([], RUN) == []

    @pytest.mark.parametrize(
        "odd",
        [{"reviewer": " "}, {"reviewer": "a\x00"}, {"reading": 4}, {"reading": 10**30}, {"seconds": float("nan")}],
    )
    def test_a_look_that_could_not_be_kept_is_refused(self, odd: dict[str, Any]) -> None:
        with pytest.raises(AnswerError):
            Look(
                **{"shot_sha256": SHOT, "run": RUN, "reviewer": "Ida", "reading": 1, "seconds": 1.0, "token": "t"} | odd
            )

    @pytest.mark.parametrize(
        "odd", [{"by": "\ud800"}, {"by": ""}, {"share": float("nan")}, {"share": 0}, {"reading": 1}]
    )
    def test_nor_is_a_second_reading(self, odd: dict[str, Any]) -> None:
        with pytest.raises(AnswerError):
            SecondReading(**{"run": RUN, "reading": 2, "share": 0.5, "seed": "s", "by": "Ida"} | odd)


class TestTheClock:
    def test_that_goes_back_is_noted_and_the_order_stays(self, place: Place) -> None:
        noon = datetime(2026, 5, 4, 12, tzinfo=UTC)
        seconds = [0, 1, -3600, -3599, -3603, -3610, 9 * 3600]
        times = iter([noon + timedelta(seconds=s) for s in seconds])
        store = place.open(clock=lambda: next(times))
        said = [store.add_answer(answer(f"t{n}")) for n in range(len(seconds))]
        assert store.said() == said
        assert [each.number for each in said] == sorted(each.number for each in said)
        noted = {n: each.clock for n, each in enumerate(said) if each.clock}
        assert noted == {
            2: "The clock stood 3601 s before the answer that came earlier.",
            5: "The clock stood 7 s before the answer that came earlier.",
        }
        assert said[2].at == "2026-05-04T11:00:00Z"
        store.close()

    def test_of_another_zone_is_told_in_utc(self, place: Place) -> None:
        store = place.open(clock=lambda: datetime.fromisoformat("2026-05-04T12:00:00+05:30"))
        assert store.add_answer(answer()).at == "2026-05-04T06:30:00Z"
        store.close()

    def test_may_be_off_by_a_few_seconds(self) -> None:
        assert odd_clock("2026-05-04T10:00:00Z", "2026-05-04T10:00:05Z") == ""
        assert "6 s" in odd_clock("2026-05-04T10:00:00Z", "2026-05-04T10:00:06Z")
        assert odd_clock("1970-01-01T00:00:00Z", "") == ""


class TestAServer:
    """What only a server does."""

    def test_that_dropped_us_is_asked_again(self, server: Server) -> None:
        store = Store(server.url(server.fresh()))
        store.add_answer(answer("a"))
        with server.connect() as connection:
            ended = connection.execute(
                "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
                "WHERE backend_type = 'client backend' AND pid <> pg_backend_pid()"
            ).fetchall()
        assert len(ended) >= 1
        assert store.add_answer(answer("b")).number == 2
        store.close()

    def test_without_room_says_so_in_whatever_language(self, server: Server) -> None:
        store = Store(server.url(schema := server.fresh()))
        with server.connect(schema) as connection:
            connection.execute(
                "CREATE FUNCTION full_up() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
                "RAISE EXCEPTION 'Auf dem Gerät ist kein Speicherplatz mehr' USING ERRCODE = '53100'; END $$"
            )
            connection.execute("CREATE TRIGGER f BEFORE INSERT ON answers EXECUTE FUNCTION full_up()")
        with pytest.raises(DiskFull, match="The disk is full"):
            store.add_answer(answer("a"))
        with server.connect(schema) as connection:
            connection.execute("DROP TRIGGER f ON answers")
        store.add_answer(answer("a"))
        assert len(store.said()) == 1
        store.close()

    @pytest.mark.parametrize("encoding", ["SQL_ASCII", "LATIN1"])
    def test_that_was_made_for_other_letters(self, server: Server, encoding: str) -> None:
        store = Store(server.url(database=server.fresh_database(encoding)))
        assert store.add_answer(answer("a", note="Möhre")).answer.note == "Möhre"
        if encoding == "LATIN1":
            with pytest.raises(StoreError, match=r"has no equivalent in encoding .LATIN1.\.$"):
                store.add_answer(answer("b", note="🐛"))
        else:
            assert store.add_answer(answer("b", note="🐛")).answer.note == "🐛"
        assert store.said()[0].answer.note == "Möhre"
        store.close()
