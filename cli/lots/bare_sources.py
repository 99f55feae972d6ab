"""What a record needs beside its lot, but for the hashes of what it is made from, which only a page that is kept tells."""

from __future__ import annotations

from cli.guides import own_guides
from cli.lots.compared import linked_of, totals_of
from cli.lots.record import Sources
from cli.review.shelf import Shelf
from vision.guides import guide_called


def bare_sources(shelf: Shelf) -> Sources:
    """For lots of this folder; with the user's own guides as they are now."""
    own = own_guides().guides
    return Sources(shelf.run, shelf.version, lambda name: guide_called(name, own), totals_of, linked_of, {})
