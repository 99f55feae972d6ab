"""What people entered on lots, in the record: `cli/lots/entries.py` says what that may be."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection

from cli.lots.entries import Entered, plain, value_of
from cli.review.kept_rows import KeptRows, odd_clock
from cli.review.layout import ENTRIES


class KeptEntries(KeptRows):
    """A record whose entries on lots are only added, like everything in it."""

    def add_entry(self, entered: Entered) -> Entered:
        """Puts an entry at the end of the record and returns it as it stands there; the one that is there for a known token."""
        return self._once(ENTRIES, entered.token, lambda connection: self._entry_row(connection, entered), _entered)

    def add_entries(self, entered: Sequence[Entered]) -> None:
        """Puts several entries of one act at the end of the record, all or none; those whose tokens are there stay as they are."""
        with self._said_in_words(), self._numbering, self._engine.begin() as connection:
            for each in entered:
                known = sa.select(ENTRIES.c.number).where(ENTRIES.c.token == each.token)
                if connection.execute(known).first() is None:
                    connection.execute(ENTRIES.insert().values(self._entry_row(connection, each)))

    def entries(self, lot: str | None = None, after: int = 0) -> list[Entered]:
        """Every entry in the order it came, of one lot (by its exact name) or of all, after a number."""
        wanted = ENTRIES.c.number > after
        if lot is not None:
            wanted &= ENTRIES.c.lot == lot
        return [_entered(row) for row in self._rows(sa.select(ENTRIES).where(wanted).order_by(ENTRIES.c.number))]

    def _entry_row(self, connection: Connection, entered: Entered) -> dict[str, Any]:
        newest = connection.scalar(sa.select(ENTRIES.c.at).order_by(ENTRIES.c.number.desc()).limit(1))
        at = self._now()
        return {
            "at": at,
            "clock": odd_clock(at, newest or "", "entry"),
            "token": entered.token,
            "lot": entered.lot,
            "by": entered.by,
            "what": entered.what,
            # Letters as they are: whoever reads the table without this program reads words.
            "body": json.dumps(plain(entered.value), ensure_ascii=False, allow_nan=False),
        }


def _entered(row: Mapping[str, Any]) -> Entered:
    told = {name: row[name] for name in ("lot", "by", "token", "number", "at", "clock")}
    return Entered(value=value_of(row["what"], json.loads(row["body"])), **told)
