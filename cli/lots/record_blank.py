"""The record's page without anything on it, to be filled in by hand where no device may be used, and entered afterwards as late entries."""

from __future__ import annotations

from cli.lots.blocks import Blank, Document, Grid, Section
from cli.lots.record import CAUTIONS
from cli.lots.record_parts import signatures

_FINDS, _SAMPLES, _REMOVED = 14, 6, 4
BY_HAND = (
    "To be filled in by hand where no device may be used. Afterwards each sample is entered at the desk as a late entry, "
    "with the day and time when it was looked at."
)
NONE_WRITTEN = "Where none was found, write 0. That is not a finding of none."


def blank_record() -> Document:
    """The empty page; it comes from no run and no lot."""
    sections = (
        Section(
            "gaps",
            "What was not looked at",
            blanks=(Blank("Pieces, faces or samples that nobody looked at, and why"), Blank("")),
        ),
        Section(
            "identity",
            "The lot",
            blanks=tuple(
                map(
                    Blank,
                    (
                        "Lot",
                        "Produce, and how it was prepared",
                        "Supplier",
                        "Looked at by",
                        "Day, from when to when, and by what light",
                    ),
                )
            ),
        ),
        Section(
            "samples",
            "How much was looked at",
            grids=(_empty(("Sample", "Check (1, 2, …)", "Pieces", "Grams, raw or drained", "Day and time"), _SAMPLES),),
        ),
        Section(
            "insects",
            "What was found",
            (NONE_WRITTEN,),
            (
                _empty(
                    (
                        "Sample",
                        "Piece",
                        "Kind",
                        "Whole, part, skin, colony …",
                        "How many",
                        "Hand or loupe",
                        "Seen unaided",
                    ),
                    _FINDS,
                ),
            ),
        ),
        Section(
            "removed", "What was removed instead of looked at", grids=(_empty(("Sample", "Piece", "What"), _REMOVED),)
        ),
        Section(
            "decision",
            "The decision",
            ("The lot is held until a person decides.",),
            blanks=(Blank("In words"), Blank("")),
        ),
        signatures(),
    )
    return Document("Record of a lot, by hand", (BY_HAND,), sections, CAUTIONS, by_hand=True)


def _empty(head: tuple[str, ...], rows: int) -> Grid:
    return Grid(head, tuple(("\u00a0",) * len(head) for _ in range(rows)))
