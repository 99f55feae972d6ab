"""What a person does on the page on marks of one animal: marks linked as one, or told apart, as entries in the record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from cli.lots.entries import LONGEST_NAME, Entered, Link
from cli.lots.marks import Animal, Mark, animals
from cli.review.answers import AnswerError, WrongDesk, check_name
from cli.review.desk import Desk
from cli.review.link_page import key_of, links_in, marks_in
from cli.review.lot_book import book_of
from cli.review.pictures import PictureTrouble
from cli.review.words import say

ONE, APART = "one", "apart"
ACTS = (ONE, APART)
_LONGEST_TOKEN = 64


@dataclass(frozen=True)
class Act:
    """What a form of the page says."""

    lot: str
    by: str
    run: str
    token: str
    act: str
    marks: tuple[str, ...]
    """Those that were ticked, as the form names them."""
    card: str = ""
    offered: bool = False
    """Whether the marks were offered together, and not chosen one by one."""


def enter(desk: Desk, act: Act, words: Mapping[str, str]) -> None:
    """Puts what was said into the record, once for each token.

    Raises AnswerError where it can't be meant, WrongDesk where it belongs to another run, and PictureTrouble where marks are said to be one
    that can't be seen.
    """
    if act.run != desk.shelf.run:
        raise WrongDesk(say(words, "link.other_run", run=act.run, here=desk.shelf.run))
    check_name(act.by, words["link.no_name"])
    if act.act not in ACTS or not 0 < len(act.token) <= _LONGEST_TOKEN:
        raise AnswerError(words["link.no_act"])
    book = book_of(desk)
    before = [each for each in book.entries if each.token.rsplit("-", 2)[0] == act.token]
    if before:
        # The reply was lost, or somebody went back to the page: what is said now has to be what was said then.
        if not _says(act, before):
            raise AnswerError(words["link.kept_before"])
        return
    marks, links = marks_in(act.lot, book), links_in(book.entries)
    chosen = [mark for mark in marks if key_of(mark) in act.marks]
    if len(chosen) < len(set(act.marks)):
        raise AnswerError(words["link.gone"])
    said = [each for each in animals(marks, links) if any(mark in chosen for mark in each.marks)]
    made = _joined(desk, act, chosen, said, words) if act.act == ONE else _parted(chosen, said, words, act.offered)
    desk.store.add_entries(
        [Entered(act.lot, act.by.strip(), link, _token(act, number)) for number, link in enumerate(made)]
    )


def _token(act: Act, number: int) -> str:
    return f"{act.token}-{act.act}-{number}"


def _says(act: Act, kept: Sequence[Entered]) -> bool:
    """Whether entries that were kept can be those of an act: it is the same, of the marks that are ticked, and on the card named."""
    links = [entered.value for entered in kept if isinstance(entered.value, Link)]
    specks = {f"{each.shot_sha256}:{each.candidate}" for link in links for each in link.specks}
    ticked = set(act.marks)
    same = ticked <= specks if act.act == ONE else specks <= ticked
    card = act.card.strip() if act.act == ONE else ""
    return same and card in ("", links[0].card) and kept[0].token == _token(act, 0)


def _joined(
    desk: Desk, act: Act, chosen: Sequence[Mark], said: Sequence[Animal], words: Mapping[str, str]
) -> list[Link]:
    """One link of all, with those they were linked with before. One alone is linked only with a card's number."""
    if len(act.card) > LONGEST_NAME or len(chosen) + bool(act.card.strip()) < 2:
        raise AnswerError(words["link.too_few"])
    for mark in chosen:
        if trouble := desk.pictures.trouble(desk.shelf.by_sha256[mark.speck.shot_sha256]):
            raise PictureTrouble(trouble)
    cards = {each.card for each in said if each.card}
    card = act.card.strip() or (cards.pop() if len(cards) == 1 else "")
    if cards and not card:
        raise AnswerError(words["link.two_cards"])
    return [Link(tuple(mark.speck for each in said for mark in each.marks), card)]


def _parted(chosen: Sequence[Mark], said: Sequence[Animal], words: Mapping[str, str], offered: bool) -> list[Link]:
    """Each mark alone; but what was linked before stays together where it is offered, and told apart from something else."""
    if not chosen:
        raise AnswerError(words["link.none"])
    if len(said) == 1:
        return [Link((mark.speck,)) for mark in chosen]
    if not offered and any(sum(mark in chosen for mark in each.marks) > 1 for each in said):
        raise AnswerError(words["link.linked_before"])
    return [Link((each.marks[0].speck,)) for each in said if not each.said]
