"""What people entered on lots, in the record, on SQLite and on PostgreSQL: once, in order, for good, also in a record made before."""

from __future__ import annotations

import itertools
import json
import sqlite3
import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import psycopg
import pytest
from hypothesis import HealthCheck, given, settings
from made_answers import answer
from made_entries import ANY, LOT, VALUES, entered
from own_records import Place

from cli.lots.entries import LotOf, Value
from cli.review import layout
from cli.review.database import engine_of, parsed
from cli.review.store import Store

TOKENS = (f"t{n}" for n in itertools.count())


@pytest.mark.parametrize("value", VALUES, ids=lambda value: type(value).__name__)
def test_each_kind_comes_back_as_it_went_in(place: Place, store: Store, value: Value) -> None:
    kept = store.add_entry(entered(value))
    assert (kept.lot, kept.by, kept.value, kept.token, kept.number, kept.clock) == (LOT, "Ida", value, "t", 1, "")
    datetime.fromisoformat(kept.at)
    assert store.entries() == store.entries(LOT) == [kept]
    # As the database's own module reads it: words, and an object with the entry's own fields.
    ((lot, by, what, body),) = place.plain('SELECT lot, "by", what, body FROM entries')
    assert (lot, by, what) == (LOT, "Ida", kept.what)
    assert set(json.loads(body)) == set(type(value).__dataclass_fields__)


@given(value=ANY)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_any_comes_back_as_it_went_in(store: Store, value: Value) -> None:
    kept = store.add_entry(entered(value, next(TOKENS)))
    assert kept.value == value
    assert store.entries(LOT, after=kept.number - 1) == [kept]


class TestOnceEach:
    def test_a_token_brought_twice_is_one_row(self, place: Place, store: Store) -> None:
        first = store.add_entry(entered(LotOf(40), "a"))
        # Whatever else it says: the act is the same one.
        assert store.add_entry(entered(LotOf(41), "a", lot="other")) == first
        assert place.plain("SELECT count(*) FROM entries") == [(1,)]

    def test_from_eight_at_once(self, place: Place, store: Store) -> None:
        start, kept = threading.Barrier(8), []

        def enter() -> None:
            start.wait()
            kept.append(store.add_entry(entered(LotOf(40), "a")))

        threads = [threading.Thread(target=enter) for _ in range(8)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert len(kept) == 8
        assert {each.number for each in kept} == {each.number for each in store.entries()}
        assert len(store.entries()) == 1

    def test_without_a_token_is_a_fault_of_our_own(self, store: Store) -> None:
        with pytest.raises(ValueError, match="token"):
            store.add_entry(entered(LotOf(40), ""))


def test_they_come_in_order_by_lot_and_after_a_number(store: Store) -> None:
    lots = {"a": "1", "b": "2", "c": "1", "d": ""}
    numbers = {token: store.add_entry(entered(LotOf(5), token, lot)).number for token, lot in lots.items()}
    assert list(numbers.values()) == sorted(numbers.values())

    def tokens(*which: Any, **more: Any) -> str:
        return "".join(each.token for each in store.entries(*which, **more))

    assert tokens() == tokens(None) == tokens(after=-3) == "abcd"
    assert tokens("1") == "ac"
    assert tokens("") == "d"
    assert tokens("1", numbers["a"]) == "c"
    assert tokens(after=numbers["b"]) == "cd"
    assert tokens("1'; --") == tokens("one") == ""


def test_a_clock_that_goes_back_is_noted_and_the_order_stays(place: Place) -> None:
    noon = datetime(2026, 5, 4, 12, tzinfo=UTC)
    times = iter([noon, noon - timedelta(hours=1), noon - timedelta(minutes=59)])
    store = Store(place.url, clock=lambda: next(times))
    kept = [store.add_entry(entered(LotOf(n + 1), f"t{n}")) for n in range(3)]
    assert store.entries() == kept
    assert [each.at for each in kept] == ["2026-05-04T12:00:00Z", "2026-05-04T11:00:00Z", "2026-05-04T11:01:00Z"]
    assert [each.clock for each in kept] == ["", "The clock stood 3600 s before the entry that came earlier.", ""]
    store.close()


def test_the_database_itself_changes_no_row(place: Place, store: Store) -> None:
    store.add_entry(entered(LotOf(40)))
    before = place.plain("SELECT * FROM entries")
    tries = ["UPDATE entries SET body = '{\"pieces\": 4}'", "DELETE FROM entries"]
    if place.url.startswith("sqlite"):
        tries += ["INSERT OR REPLACE INTO entries SELECT * FROM entries"]
    else:
        tries += ["TRUNCATE entries"]
    for sql in tries:
        with pytest.raises((sqlite3.IntegrityError, psycopg.errors.RaiseException), match="entries are never changed"):
            place.plain(sql)
    assert place.plain("SELECT * FROM entries") == before
    assert len(before) == 1


def test_a_record_of_the_first_step_is_brought_up_to_date(place: Place) -> None:
    engine = engine_of(parsed(place.url))
    layout.bring_up_to_date(engine, layout.STEPS[:1])
    engine.dispose()
    kept_before = {"at": "2026-03-01T10:00:00Z", "clock": "", "token": "old", **vars(answer().speck), "reading": 1}
    kept_before |= dict.fromkeys(("kind", "body", "basis", "unaided", "note"), "")
    kept_before |= {"reviewer": "Ida", "answer": "insect", "source": "desk"}
    columns = ", ".join(kept_before)
    values = ", ".join(repr(value) for value in kept_before.values())
    place.plain(f"INSERT INTO answers ({columns}) VALUES ({values})")
    with pytest.raises((sqlite3.OperationalError, psycopg.errors.UndefinedTable)):
        place.plain("SELECT * FROM entries")
    for _ in range(2):
        store = Store(place.url)
        store.add_entry(entered(LotOf(40)))
        assert [each.answer.token for each in store.said()] == ["old"]
        assert [each.value for each in store.entries()] == [LotOf(40)]
        store.close()
    assert [step for (step,) in place.plain("SELECT step FROM layout ORDER BY step")] == [1, 2]
