"""What a call of `speckwise report` asks for, and that it asks for one thing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from vision.errors import CallError


@dataclass(frozen=True)
class ReportAsked:
    """The options of `speckwise report` as they were given."""

    verify: bool = False
    supplier: bool = False
    blank: bool = False
    since: str | None = None
    until: str | None = None
    lot: str | None = None
    defect_levels: str = ""
    paper: str = "a4"
    store: str | None = None


def report_asked(folders: Sequence[Path], out: Path, asked: ReportAsked, today: date | None = None) -> int:
    """Does what was asked for and returns the exit code. Raises CallError where options do not go together."""
    from cli.lots.report import ReportOptions, blank_call, report_call, season_call

    today = today or date.today()
    _one_thing(folders, asked)
    options = ReportOptions(asked.lot, asked.store, asked.supplier, asked.defect_levels, asked.paper)
    if asked.blank:
        return blank_call(out, asked.paper)
    if asked.since is not None:
        days = _day("--since", asked.since), today if asked.until is None else _day("--until", asked.until)
        return season_call(folders, out, options, days, today)
    if asked.verify:
        from cli.lots.verify import verify_call

        return verify_call(folders[0], out, options)
    return report_call(folders[0], out, options, today)


def _one_thing(folders: Sequence[Path], asked: ReportAsked) -> None:
    over_many = asked.since is not None
    if asked.until is not None and not over_many:
        raise CallError("--until goes with --since.")
    of_one_lot = [
        name
        for name, given in (
            ("--lot", asked.lot is not None),
            ("--verify", asked.verify),
            ("--supplier", asked.supplier),
            ("--defect-levels", bool(asked.defect_levels)),
        )
        if given
    ]
    if asked.blank and (folders or over_many or of_one_lot or asked.store):
        raise CallError("--blank is an empty page: it takes no DIR and no other option but --paper.")
    if over_many and of_one_lot:
        raise CallError(f"{of_one_lot[0]} is about one lot, and --since about many: leave one of them out.")
    if asked.supplier and asked.defect_levels:
        raise CallError(
            "--defect-levels stands beside a count per 100 g, and --supplier shows none: leave one of them out."
        )
    if asked.verify and len(of_one_lot) > 1:
        raise CallError("--verify reads from FILE what it was made from: it takes no other option but --store.")
    if not folders and not asked.blank:
        raise CallError("DIR is missing: a folder that `speckwise score` has written.")
    if len(folders) > 1 and not over_many:
        raise CallError("The record of a lot is made from one DIR; several go with --since.")


def _day(name: str, text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise CallError(f"{name} is a day, YYYY-MM-DD, not {text}.") from None
