"""What the page on marks of one animal says of a lot: the two totals, the offers, what was said so far, and all marks to choose from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from cli.lots import why_same as why
from cli.lots.entries import Entered, Link
from cli.lots.marks import Animal, Mark, Range, animals
from cli.lots.same import Totals, offers, totals
from cli.lots.swirl_pair import AFTER, BEFORE, Swirled, swirled
from cli.lots.why_same import Reason
from cli.review.answers import SpeckId
from cli.review.cut_outs import CutOut, cut_out_row
from cli.review.desk import Desk
from cli.review.lot_book import LotBook, book_of
from cli.review.lot_marks import flags_of, marks_of
from cli.review.lot_told import name_of
from cli.review.words import say, say_many
from vision.guides.views import BLANK

MOST_OFFERS = 12
"""On one page; the others come up as these are answered."""
OFFER, GROUP, SAMPLE = "offer", "group", "sample"
"""Forms of the page: their names go on with a number."""
_WHY: Mapping[str, str] = {
    why.LAID_OVER: "link.why_laid_over",
    why.STAYED: "link.why_stayed",
    why.MOVED: "link.why_moved",
    why.ON_CARD: "link.why_on_card",
    why.SAME_CARD: "link.why_same_card",
    why.SAME_PIECE: "link.why_same_piece",
    why.SAME_HEAD: "link.why_same_head",
    why.SAME_KIND: "link.why_same_kind",
    why.LENGTHS: "link.why_lengths",
    why.NO_LENGTH: "link.why_no_length",
    why.DARKER: "link.why_darker",
    why.LIGHTER: "link.why_lighter",
    why.DENSITIES: "link.why_densities",
}


@dataclass(frozen=True)
class Again:
    """What the form held that could not be taken, so that it stands there again."""

    form: str = ""
    marks: frozenset[str] = frozenset()
    card: str = ""


@dataclass(frozen=True)
class MarkTold:
    """One mark with its cut-out and its tick box."""

    key: str
    name: str
    facts: tuple[str, ...]
    cut_out: CutOut
    ticked: bool


@dataclass(frozen=True)
class FormTold:
    """Marks side by side that are asked about together."""

    name: str
    heading: str
    facts: tuple[str, ...]
    bar: str
    marks: tuple[MarkTold, ...]
    card: str = ""


@dataclass(frozen=True)
class LinkTold:
    """The page's content."""

    lot: str
    name: str
    """The lot's, or that it has none."""
    by: str
    totals: tuple[str, ...]
    notes: tuple[str, ...]
    offers: tuple[FormTold, ...]
    more: str
    groups: tuple[FormTold, ...]
    samples: tuple[FormTold, ...]


def marks_in(lot: str, book: LotBook) -> list[Mark]:
    """The confirmed insects of a lot, but those on the blank tray."""
    return [mark for mark in marks_of(book) if mark.lot == lot and mark.view != BLANK]


def links_in(entries: Iterable[Entered]) -> list[Link]:
    """Every link, in the order in which they were entered."""
    return [each.value for each in entries if isinstance(each.value, Link)]


def key_of(mark: Mark) -> str:
    """A mark as a form names it."""
    return f"{mark.speck.shot_sha256}:{mark.speck.candidate}"


def link_told(desk: Desk, words: Mapping[str, str], lot: str, by: str, typed: Again | None = None) -> LinkTold:
    """The page on a lot as it stands; `typed` where a form is shown once more."""
    book = book_of(desk)
    marks, links = marks_in(lot, book), links_in(book.entries)
    blank = sum(mark.lot == lot and mark.view == BLANK for mark in marks_of(book))
    still_open = book.counts(lot).open
    found = offers(marks, links)
    swirls = _swirls(desk, book, lot)
    stayed = frozenset(mark.speck for read in swirls.values() for pair in read.stayed for mark in pair)
    teller = _Teller(desk, words, typed or Again(), stayed)
    notes = [say_many(words, "link.on_blank", blank)] if blank else []
    notes += [say_many(words, "link.still_open", still_open)] if still_open else []
    return LinkTold(
        lot,
        name_of(lot, words),
        by,
        tuple(_totals(totals(marks, links), words)),
        (*notes, *(_swirl_sentence(sample, read, words) for sample, read in swirls.items())),
        tuple(
            teller.form(f"{OFFER}-{n}", each.marks, say(words, "link.offer", n=n), _reasons(each.reasons, words), True)
            for n, each in enumerate(found[:MOST_OFFERS], start=1)
        ),
        say_many(words, "link.more", len(found) - MOST_OFFERS) if len(found) > MOST_OFFERS else "",
        tuple(teller.groups(animals(marks, links), book.entries)),
        tuple(teller.samples(marks)),
    )


def _totals(told: Totals, words: Mapping[str, str]) -> Iterable[str]:
    yield say(words, "link.totals", same=_range(told.if_same, words), different=_range(told.if_different, words))
    for body, (same, different) in told.apart.items():
        both = {"same": _range(same, words), "different": _range(different, words)}
        yield say(words, "link.apart", body=words[f"body.{body}"], same=both["same"], different=both["different"])


def _range(told: Range, words: Mapping[str, str]) -> str:
    if told.least == told.most:
        return str(told.least)
    return say(words, "link.range", least=told.least, most=told.most)


def _reasons(reasons: Iterable[Reason], words: Mapping[str, str]) -> tuple[str, ...]:
    values = {why.SAME_KIND: lambda kind: words.get(f"kind.{kind}", kind)}
    return tuple(words[_WHY[each.what]].format(value=values.get(each.what, str)(each.value)) for each in reasons)


def _swirls(desk: Desk, book: LotBook, lot: str) -> dict[str, Swirled]:
    """The flags of the two photographs round the swirl read together, for each sample that has one of both."""
    both: dict[str, list[list[Mark]]] = {}
    for part, view in enumerate((BEFORE, AFTER)):
        for mark in flags_of(book, lot, view):
            both.setdefault(mark.sample, [[], []])[part].append(mark)
    return {
        sample: swirled(before, after)
        for sample, (before, after) in sorted(both.items())
        if all(len({mark.speck.shot_sha256 for mark in part}) == 1 for part in (before, after))
    }


def _swirl_sentence(sample: str, read: Swirled, words: Mapping[str, str]) -> str:
    of = say(words, "link.sample", name=sample) if sample else words["link.no_sample"]
    stayed, moved, gone, came = map(len, (read.stayed, read.moved, read.before_only, read.after_only))
    return say(words, "link.swirl", sample=of, stayed=stayed, moved=moved, gone=gone, came=came)


@dataclass(frozen=True)
class _Teller:
    """Puts marks into the words of one page."""

    desk: Desk
    words: Mapping[str, str]
    typed: Again
    stayed: frozenset[SpeckId]
    """What was at one place before and after the swirl."""

    def form(
        self, name: str, marks: Sequence[Mark], heading: str, facts: tuple[str, ...], ticked: bool, card: str = ""
    ) -> FormTold:
        row = cut_out_row(marks, self.desk.shelf)
        again = self.typed.form == name
        told = [
            MarkTold(
                key_of(mark),
                self._name(mark),
                self._facts(mark),
                cut,
                key_of(mark) in self.typed.marks if again else ticked,
            )
            for mark, cut in zip(marks, row.cut_outs, strict=True)
        ]
        bar = say(self.words, "link.bar", n=row.bar_mm) if row.bar_mm else say(self.words, "link.no_scale")
        return FormTold(name, heading, facts, bar, tuple(told), self.typed.card if again else card)

    def groups(self, said: Iterable[Animal], entries: Sequence[Entered]) -> Iterable[FormTold]:
        """What people said so far, the newest first."""
        by_link = {speck: each for each in entries if isinstance(each.value, Link) for speck in each.value.specks}
        told = sorted(
            ((by_link[animal.marks[0].speck], animal) for animal in said if animal.said),
            key=lambda pair: -pair[0].number,
        )
        for n, (entered, animal) in enumerate(told, start=1):
            one = len(animal.marks) == 1
            heading = self.words["link.said_own" if one else "link.said_one"]
            who = say(self.words, "link.said_by", by=entered.by, at=entered.at)
            card = (say(self.words, "link.on_card", n=animal.card),) if animal.card else ()
            yield self.form(f"{GROUP}-{n}", animal.marks, heading, (who, *card, *filter(None, [entered.clock])), False)

    def samples(self, marks: Sequence[Mark]) -> Iterable[FormTold]:
        """Every mark, sample by sample."""
        for n, (sample, own) in enumerate(groupby(marks, lambda mark: mark.sample), start=1):
            heading = say(self.words, "link.sample", name=sample) if sample else self.words["link.no_sample"]
            yield self.form(f"{SAMPLE}-{n}", list(own), heading, (), False)

    def _name(self, mark: Mark) -> str:
        return say(self.words, "link.mark", n=mark.speck.candidate, shot=mark.shot)

    def _facts(self, mark: Mark) -> tuple[str, ...]:
        kind = self.words.get(f"kind.{mark.kind}", mark.kind)
        body = self.words[f"body.{mark.body}"] if mark.body else ""
        places = [
            say(self.words, key, name=value)
            for key, value in (
                ("link.view", mark.view),
                ("link.piece", mark.piece),
                ("link.head", mark.head),
                ("link.card", mark.card),
            )
            if value
        ]
        what = [", ".join(filter(None, (kind, body)))]
        count = [_range(Range(mark.least, mark.most), self.words)] if mark.least and mark.most else []
        stayed = [self.words["link.stayed"]] if mark.speck in self.stayed else []
        return tuple(filter(None, [*what, *count, self._size(mark), ", ".join(places), *stayed]))

    def _size(self, mark: Mark) -> str:
        if mark.length_mm is None:
            return self.words["link.no_size"]
        if mark.width_mm is None:
            return say(self.words, "link.length", length=f"{mark.length_mm:.2f}")
        return say(self.words, "link.size", length=f"{mark.length_mm:.2f}", width=f"{mark.width_mm:.2f}")
