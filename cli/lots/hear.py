"""All that people said of a run, read from the record."""

from __future__ import annotations

from cli.lots.gather import Heard
from cli.review.store import Store

SORTS = ("said", "added", "looks", "readings", "entries")
"""What the record holds rows of, as Heard calls them."""


def hear(store: Store, run: str) -> Heard:
    """What was said of a run, and entered on all lots."""
    return Heard(store.said({run}), store.added(run), store.looks(run), store.readings(run), store.entries())


def rows_of(heard: Heard) -> dict[str, int]:
    """How many rows of each of SORTS there are."""
    return {name: len(getattr(heard, name)) for name in SORTS}
