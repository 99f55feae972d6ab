"""Places for a test's own record, on SQLite and on a PostgreSQL of the tests' own, and a way to each past the record's code."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

from own_postgres import Server

from cli.review.store import Store, sqlite_url


class Place:
    """Where one test's record is, and a way to it past the record's code."""

    def __init__(self, url: str, connect: Callable[[], Any]) -> None:
        self.url = url
        self._connect = connect

    def open(self, **more: Any) -> Store:
        return Store(self.url, **more)

    def plain(self, sql: str, *values: object) -> list[tuple[Any, ...]]:
        """Rows of a statement, by the database's own module."""
        connection = self._connect()
        try:
            result = connection.execute(sql, values)
            return result.fetchall() if result.description else []
        finally:
            connection.close()


def on_sqlite(path: Path) -> Place:
    """A record in a file."""
    return Place(sqlite_url(path), lambda: sqlite3.connect(path, isolation_level=None))


def on_server(server: Server) -> Place:
    """A record on PostgreSQL, in a schema of its own."""
    schema = server.fresh()
    return Place(server.url(schema), lambda: server.connect(schema))
