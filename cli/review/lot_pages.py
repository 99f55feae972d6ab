"""The pages of lots: which address shows what, and what becomes of a form that is sent there.

They stand under /lots for all, and under the supervisor's address with what needs that key besides.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import jinja2
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from cli.lots.bare_sources import bare_sources
from cli.lots.entries import LONGEST_NAME, Correction, Decided, Entered, RuleGiven, Value
from cli.lots.rule_page import form_page
from cli.review import rule_form
from cli.review.answers import AnswerError, check_line
from cli.review.desk import Desk
from cli.review.form_body import typed_of
from cli.review.form_fields import Reader, Typed
from cli.review.forms_shown import Refused, lot_forms, rule_forms
from cli.review.guard import LOTS, SUPERVISOR, let_in
from cli.review.kinds import kinds_offered
from cli.review.lot_book import LotBook, book_of
from cli.review.lot_forms import DECISION, entry_of
from cli.review.lot_told import (
    address_of,
    kept_sentence,
    lot_told,
    lots_told,
    lots_with_rules,
    name_of,
    others_told,
    photographs_offered,
    rule_told,
)
from cli.review.store import StoreError
from cli.review.words import say
from vision.errors import DiskFull, SpeckwiseError

_PAPERS = ("a4", "letter")


@dataclass(frozen=True)
class LotPages:
    """Pages and forms of lots on one desk. `key`: the supervisor's; `secret`: of the shared link, '' without one."""

    desk: Desk
    words: Mapping[str, str]
    pages: jinja2.Environment
    key: str
    secret: str = ""

    def routes(self) -> list[Route]:
        """Every address under /lots, and the same under the supervisor's."""
        own = SUPERVISOR + "{key}" + LOTS
        return [
            *self._at(LOTS, self.lots),
            *self._at(own, self.lots),
            *self._at(f"{LOTS}/one", self.one, self.enter),
            *self._at(f"{own}/one", self.one, self.enter),
            *self._at(f"{own}/rule", self.rule, self.give_rule),
            *self._at(f"{LOTS}/rule/page", self.rule_page),
            *self._at(f"{own}/rule/page", self.rule_page),
        ]

    def _at(
        self,
        path: str,
        show: Callable[[Request, str], Response],
        take: Callable[[Request, str, Typed], Response] | None = None,
    ) -> list[Route]:
        """An address that shows a page, and one that takes its forms."""

        def shown(request: Request) -> Response:
            return self._held(request, lambda base: show(request, base))

        async def taken(request: Request) -> Response:
            body, kind = await request.body(), request.headers.get("content-type", "")
            assert take is not None
            return await run_in_threadpool(self._held, request, lambda base: take(request, base, typed_of(kind, body)))

        return [Route(path, shown), *([Route(path, taken, methods=["POST"])] if take else [])]

    def _held(self, request: Request, act: Callable[[str], Response]) -> Response:
        """What `act` answers; a sentence where the key is wrong or the page can't be made."""
        key = request.path_params.get("key")
        if key is not None and not hmac.compare_digest(key.encode(), self.key.encode()):
            return PlainTextResponse("That is not the supervisor's link of this desk.", 403)
        try:
            answer = act("" if key is None else SUPERVISOR + self.key)
        except SpeckwiseError as error:
            return PlainTextResponse(str(error), _status(error))
        if key is not None and self.secret:
            # Whoever has the key may see the desk too: else the page could not even ask for its style.
            let_in(answer, request.headers, self.secret)
        return answer

    def lots(self, request: Request, base: str) -> Response:
        """The lots of the run."""
        book = book_of(self.desk)
        lots, others = (told(book, self.words, base) for told in (lots_told, others_told))
        return self._page("lots.html.j2", base, told=lots, others=others)

    def one(self, request: Request, base: str) -> Response:
        """One lot: what was entered, and forms to enter more."""
        query = request.query_params
        return self._lot(base, query.get("lot", ""), query.get("by", ""), query.get("kept", ""))

    def enter(self, request: Request, base: str, typed: Typed) -> Response:
        """Keeps what a form says; where that can't be, shows it again with what was typed."""
        lot, what = typed.whole("lot"), typed.one("form")

        def value(reader: Reader) -> Value:
            if what == DECISION and not base:
                raise AnswerError(say(self.words, "lot.needs_key"))
            return self._of_this_run(entry_of(reader))

        return self._taken(lot, typed, value, base, "one", lambda refused: self._lot(base, lot, "", "", refused))

    def rule(self, request: Request, base: str) -> Response:
        """A lot's rule, and the forms that give another or sign it."""
        query = request.query_params
        return self._rule(base, query.get("lot", ""), query.get("by", ""), query.get("kept", ""))

    def give_rule(self, request: Request, base: str, typed: Typed) -> Response:
        """Keeps a rule as a form gives it."""
        lot = typed.whole("lot")
        return self._taken(
            lot,
            typed,
            lambda reader: RuleGiven(self._rule_text(reader, lot)),
            base,
            "rule",
            lambda refused: self._rule(base, lot, "", "", refused),
        )

    def rule_page(self, request: Request, base: str) -> Response:
        """The page of a lot's rule to be signed by hand; of none, an empty form."""
        lot, paper = request.query_params.get("lot", ""), request.query_params.get("paper", _PAPERS[0])
        if paper not in _PAPERS:
            raise AnswerError(say(self.words, "rule.no_paper"))
        page = form_page(book_of(self.desk).rule(lot, _today()).rule)
        others = [(each, address_of(base, lot, "rule/page", paper=each)) for each in _PAPERS]
        back = address_of(base, lot, "rule" if base else "one")
        return self._page("rule_page.html.j2", base, page=page, paper=paper, papers=others, back=back)

    def _taken(
        self,
        lot: str,
        typed: Typed,
        value: Callable[[Reader], Value],
        base: str,
        page: str,
        again: Callable[[Refused], Response],
    ) -> Response:
        reader = Reader(typed.one("form"), typed, self.words)
        try:
            kept = self._keep(Entered(lot, typed.one("by"), value(reader), typed.one("token")), reader)
        except (AnswerError, StoreError, DiskFull) as error:
            check_line("lot", lot, LONGEST_NAME)
            why = say(self.words, "lot.disk_full") if isinstance(error, DiskFull) else str(error)
            answer = again(Refused(reader.form, typed, why))
            answer.status_code = _status(error)
            return answer
        return RedirectResponse(address_of(base, lot, page, by=kept.by, kept=kept.number), 303)

    def _keep(self, entered: Entered, reader: Reader) -> Entered:
        """Puts an entry into the record, once. Raises AnswerError where its form was kept before and said something else."""
        if not entered.token:
            raise AnswerError(say(self.words, "lot.no_token"))
        kept = self.desk.store.add_entry(entered)
        said = entered.value
        if isinstance(said, Decided) and isinstance(kept.value, Decided) and not reader.has_time():
            # The time was that of sending, each time.
            said = replace(said, at=kept.value.at)
        if (kept.lot, kept.by, kept.value) != (entered.lot, entered.by, said):
            raise AnswerError(say(self.words, "lot.kept_before", n=kept.number))
        return kept

    def _of_this_run(self, value: Value) -> Value:
        if isinstance(value, Correction) and value.shot_sha256 not in self.desk.shelf.by_sha256:
            raise AnswerError(say(self.words, "lot.no_photograph"))
        return value

    def _rule_text(self, reader: Reader, lot: str) -> str:
        book = book_of(self.desk)
        if reader.form == rule_form.NONE:
            return ""
        if reader.form == rule_form.TAKEN_OVER:
            given = book.last(reader.typed.whole("lot_of_rule"), RuleGiven)
            if given is None or not given.text:
                raise AnswerError(say(self.words, "rule.none_there"))
            return given.text
        rule = book.rule(lot, _today()).rule
        if reader.form == rule_form.SIGNED and rule and reader.text("digest") != rule.digest:
            raise AnswerError(say(self.words, "rule.another"))
        return rule_form.rule_text_of(reader, rule)

    def _lot(self, base: str, lot: str, by: str, kept: str, refused: Refused | None = None) -> Response:
        check_line("lot", lot, LONGEST_NAME)
        book = book_of(self.desk)
        offered = {"shot_sha256": photographs_offered(book, lot)}
        return self._page(
            "lot.html.j2",
            base,
            lot=lot,
            told=lot_told(book, self.words, lot, _today(), bare_sources(self.desk.shelf)),
            forms=lot_forms(self.words, offered, by, refused, with_key=bool(base)),
            kept=kept_sentence(book, self.words, lot, kept),
            listed=self._listed(book, lot),
            action=f"{base}{LOTS}/one",
            rule=address_of(base, lot, "rule") if base else "",
            rule_page=address_of(base, lot, "rule/page"),
        )

    def _listed(self, book: LotBook, lot: str) -> dict[str, list[str]]:
        """Names that are offered beside fields."""
        kinds = [self.words.get(f"kind.{kind}", kind) for kind in kinds_offered(self.desk.shelf)]
        return {"samples": book.samples_of(lot), "kinds": kinds}

    def _rule(self, base: str, lot: str, by: str, kept: str, refused: Refused | None = None) -> Response:
        check_line("lot", lot, LONGEST_NAME)
        book = book_of(self.desk)
        stands = book.rule(lot, _today())
        return self._page(
            "rule.html.j2",
            base,
            lot=lot,
            name=name_of(lot, self.words),
            told=rule_told(stands),
            forms=rule_forms(
                self.words, {"lot_of_rule": lots_with_rules(book, lot, self.words)}, by, refused, stands.rule
            ),
            kept=kept_sentence(book, self.words, lot, kept),
            listed={},
            action=f"{base}{LOTS}/rule",
            back=address_of(base, lot),
            rule_page=address_of(base, lot, "rule/page"),
        )

    def _page(self, template: str, base: str, **values: Any) -> Response:
        opening = {"version": self.desk.shelf.version, "run": self.desk.shelf.run}
        text = self.pages.get_template(template).render(
            lots_address=f"{base}{LOTS}", base=base, opening=opening, **values
        )
        return HTMLResponse(text)


def _today() -> date:
    return date.today()


def _status(error: Exception) -> int:
    kinds = ((AnswerError, 400), (DiskFull, 507), (StoreError, 503))
    return next((status for kind, status in kinds if isinstance(error, kind)), 500)
