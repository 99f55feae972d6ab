"""A database of rows that are only added: opening it, adding one row once, reading rows, and what goes wrong, in words."""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy import exc
from sqlalchemy.engine import Connection

from cli.review.database import READS, engine_of, is_full, lacking, parsed, place_of, why
from cli.review.layout import bring_up_to_date
from vision.errors import CallError, DiskFull, SpeckwiseError

_T = TypeVar("_T")
_TRIES = 20
_CLOCK_SLACK_S = 5.0


class StoreError(SpeckwiseError):
    """The record can't be read or added to just now; what it holds is whole. The message is a whole sentence without a password."""


class KeptRows:
    """An open record. Methods raise StoreError, and DiskFull where there is no room."""

    def __init__(self, url: str, clock: Callable[[], datetime] = lambda: datetime.now(UTC)) -> None:
        """Opens or makes the record at an SQLAlchemy URL. Raises CallError where that is none or can't be reached."""
        self._url = parsed(url)
        self.place = place_of(self._url)
        """Where the record is: a file's path, or a URL without a password."""
        self._clock = clock
        self._numbering = threading.Lock()
        try:
            self._engine = engine_of(self._url)
            with self._said_in_words():
                bring_up_to_date(self._engine)
        except (exc.ArgumentError, ImportError, ValueError) as error:
            raise CallError(f"--store: {self.place} can't be used: {lacking(error)}.") from None
        except StoreError as error:
            raise CallError(f"--store: {error}") from None

    def close(self) -> None:
        """Lets go of the database."""
        self._engine.dispose()

    def _rows(self, query: sa.Select[Any]) -> list[Mapping[str, Any]]:
        with self._said_in_words(), self._engine.connect().execution_options(**READS) as connection:
            return [row._mapping for row in connection.execute(query)]  # type: ignore[misc]

    def _once(
        self, table: sa.Table, token: str, make: Callable[[Connection], dict[str, Any]], read: Callable[[Any], _T]
    ) -> _T:
        """Adds one row unless its token is there already; returns what then stands there."""
        if not token:
            raise ValueError("what goes into the record carries a token")
        known = sa.select(table).where(table.c.token == token)
        with self._said_in_words():
            for attempt in range(_TRIES):
                try:
                    # Threads of this process wait here, so that they do not use up the database's own patience.
                    with self._numbering, self._engine.begin() as connection:
                        row = connection.execute(known).one_or_none()
                        if row is None:
                            connection.execute(table.insert().values(make(connection)))
                            row = connection.execute(known).one()
                    return read(row._mapping)
                except exc.IntegrityError:
                    # Where the database has more than one writer at a time, another was faster: look again.
                    if attempt == _TRIES - 1:
                        raise
        raise AssertionError("unreachable")

    def _now(self) -> str:
        return self._clock().astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

    @contextmanager
    def _said_in_words(self) -> Iterator[None]:
        try:
            yield
        except exc.DBAPIError as error:
            if is_full(error.orig):
                raise DiskFull(
                    "The disk is full: the answer could not be kept. Make room; then it is sent again."
                ) from None
            raise StoreError(f"The record {self.place} can't be used: {why(str(error.orig), self._url)}.") from None
        except exc.TimeoutError:
            raise StoreError(f"The record {self.place} can't be used: too many ask for it at once.") from None


def odd_clock(at: str, newest: str, what: str = "answer") -> str:
    """A sentence where the time `at` lies before the newest row's by more than a few seconds; ''. Both RFC 3339."""
    if not newest:
        return ""
    behind_s = (_time(newest) - _time(at)).total_seconds()
    return f"The clock stood {behind_s:.0f} s before the {what} that came earlier." if behind_s > _CLOCK_SLACK_S else ""


def _time(text: str) -> datetime:
    return datetime.fromisoformat(text.replace("Z", "+00:00"))
