"""What was counted in a lot, as the words and tables of its record."""

from __future__ import annotations

from cli.lots.blocks import Grid
from cli.lots.clumping import clumping
from cli.lots.intervals import Between
from cli.lots.per import Per
from cli.lots.pieces import Looked, pieces_with_insects
from cli.lots.rates import Rate
from cli.lots.record_counts import Counts, Row
from cli.lots.rule_words import BODIES
from cli.lots.telling import clumping_lines, figure, pieces_lines, rate_lines, what_a_sample_tells
from cli.words import count

NONE_CONFIRMED = "0 confirmed. That is not a finding of none."
NONE_AS_ANIMALS = "0 confirmed as animals. That is not a finding of none."
SAME_OR_NOT = "Where two numbers stand, the first is if marks that may be one animal are one, the second if all that nobody linked differ."
KEPT_APART = "Parts without a head, skins, eggs and trails are kept apart from the animals. The authority's rule says what counts."
MAY_BE_ANY = "An insect whose kind was not said may be one of any kind, so a sample's animals may be fewer than its kinds together."
NO_PIECES = "It is not known of every sample how many pieces were looked at, so nothing is said per piece."
NO_GRAMS = (
    "It is not known of every sample how much it weighed in one way, raw or drained, so nothing is said per 100 g."
)
NO_PLACES = (
    "Not every insect has its piece, or more pieces are named than were entered, "
    "so nothing is said of how many pieces hold insects."
)


def sample_tells(counts: Counts) -> tuple[str, ...]:
    """What a sample of this size can tell at all; nothing where its pieces are not known."""
    if counts.pieces is None:
        return ()
    return what_a_sample_tells(counts.pieces, counts.detection, counts.in_lot)


def counted_lines(counts: Counts) -> tuple[str, ...]:
    """All animals with their limits, per unit, and what the counts say of clumps."""
    least, most = counts.all
    first = f"{_range(least, most)} confirmed as {'an animal' if most == 1 else 'animals'} on {_looked(counts)}."
    lines = [first if most else NONE_AS_ANIMALS if counts.rows else NONE_CONFIRMED]
    lines += [SAME_OR_NOT] if least < most else []
    lines += [KEPT_APART] if any(row.apart for row in counts.rows) else []
    for each in counts.rates():
        lines += rate_lines(each)
    lines += [NO_PIECES] if counts.pieces is None else []
    lines += [NO_GRAMS] if counts.grams is None else []
    if counts.per_piece is None:
        lines += [NO_PLACES] if counts.pieces is not None and most else []
    elif counts.per_piece:
        with_insects = sum(most > 0 for _, most in counts.per_piece)
        looked = Looked(len(counts.per_piece), with_insects, counts.in_lot)
        lines += pieces_lines(pieces_with_insects(looked, counts.detection))
        lines += clumping_lines(clumping(counts.per_piece)) if most else ()
    # Several units share what they say of how often an insect is seen.
    return tuple(dict.fromkeys(lines))


def sample_grid(counts: Counts) -> Grid:
    """What was counted, sample by sample and kind by kind."""
    rows: list[tuple[str, ...]] = []
    for amount, (_, least, most) in zip(counts.amounts, counts.of_samples, strict=True):
        own = [row for row in counts.rows if row.sample == amount.sample]
        pieces = "not known" if amount.pieces is None else str(amount.pieces)
        mass = (
            "not known"
            if amount.grams is None
            else f"{amount.grams:g} g, {amount.grams_are or 'raw or drained not said'}"
        )
        rows.append((_named(amount.sample), pieces, mass, "all kinds", _range(least, most), _apart(own), _lens(own)))
        rows += [("", "", "", row.kind, _range(row.least, row.most), _apart([row]), _lens([row])) for row in own]
    head = ("Sample", "Pieces", "Mass", "Kind", "Animals", "Kept apart", "Seen with a loupe only")
    return Grid(head, tuple(rows), MAY_BE_ANY if any(row.kind == "kind not said" for row in counts.rows) else "")


def kind_grid(counts: Counts) -> Grid | None:
    """Each kind with its limits, per unit; None where none was confirmed."""
    kinds = list(dict.fromkeys(row.kind for row in counts.rows))
    rows = [(kind, *rate_cells(each)) for kind in sorted(kinds) for each in counts.rates_of(kind) if each.most]
    if not rows:
        return None
    return Grid(("Kind", "Animals", "Looked at", "As counted", "95% limits"), tuple(rows))


def rate_cells(each: Rate) -> tuple[str, ...]:
    """Animals, how much was looked at, the count per unit, and its limits."""
    per = f"per {each.effort.per}"
    amount = each.effort.amount
    looked = (
        f"{100 * amount:g} g" if each.effort.per is Per.HUNDRED_GRAMS else count(round(amount), str(each.effort.per))
    )
    counted = " to ".join(dict.fromkeys((figure(each.least_counted), figure(each.most_counted))))
    low = figure(each.limits.low) if isinstance(each.limits, Between) else "0"
    high = figure(each.limits.high) if each.limits.high < float("inf") else "no upper limit"
    return _range(each.least, each.most), looked, f"{counted} {per}", f"{low} to {high} {per}"


def _looked(counts: Counts) -> str:
    samples = count(len(counts.amounts), "sample")
    return samples if counts.pieces is None else f"{samples}, {count(counts.pieces, 'piece')}"


def _range(least: int, most: int) -> str:
    return str(most) if least == most else f"{least} to {most}"


def _named(sample: str) -> str:
    return sample or "no sample named"


def _apart(rows: list[Row]) -> str:
    sums: dict[str, int] = {}
    for row in rows:
        for body, number in row.apart:
            sums[body] = sums.get(body, 0) + number
    return ", ".join(f"{BODIES[body]}: {number}" for body, number in sums.items()) or "0"


def _lens(rows: list[Row]) -> str:
    return str(sum(row.loupe_only for row in rows))
