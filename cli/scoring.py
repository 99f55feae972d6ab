"""What `score` and `demo` share: the call, from finding pictures to the closing lines."""

from __future__ import annotations

import os
import re
import shlex
import sys
import threading
import tomllib
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING, Any

from cli.batch.addresses import is_address
from cli.batch.folder import count_pictures, find_sources, shown_path
from cli.batch.standing import INDEX, NOW, PICTURES
from cli.entry import warn_of_two_opencvs
from cli.exits import ALL_DONE, SOME_SHOTS_FAILED
from cli.options import Doing, ScoreOptions, prepare
from vision import __version__
from vision.errors import CallError, SpeckwiseError

if TYPE_CHECKING:
    from cli.batch.output import OutputFolder
    from cli.batch.record import RunFacts
    from cli.batch.run import Call
    from cli.batch.tell import Teller


def refuse_address(out: Path) -> None:
    """Raises CallError where results would go to an address: they stay on this machine's disks."""
    if re.match(r"[a-z][a-z0-9+.-]+:/", os.fspath(out), re.IGNORECASE):
        raise CallError(f"--out is a folder of this machine, not the address {out}.")


def make_pages(folder: OutputFolder) -> Iterator[tuple[str, str]]:
    """The results pages of all that stands in the folder."""
    from cli.pages.glance import ShotRows
    from cli.pages.index import build_pages

    return build_pages(
        lambda: (ShotRows(entry.row, entry.candidates, entry.files) for entry in folder.ledger),
        run=folder.run,
        version=__version__,
    )


def score_call(
    paths: Sequence[str | Path], out: Path, options: ScoreOptions, doing: Doing | None = None, invite: bool = True
) -> int:
    """Scores `paths` into `out` and says what came of it, with `invite` also where to go on from there; the exit code."""
    doing = doing or Doing()
    refuse_address(out)
    unlisted: list[str] = []
    sources = find_sources(paths, out, unlisted.append)
    from cli.batch.manifests import read_manifests

    manifests = read_manifests(paths)
    warn_of_two_opencvs()
    from cli.batch.run import score_into
    from cli.batch.tell import teller

    tell = teller(doing.quiet)
    facts, call = make_call(options, doing, tell, paths, unlisted)
    count_ahead(paths, out, tell)
    tally, notices = score_into(out, manifests.told(sources), facts, replace(call, manifests=manifests))
    for notice in dict.fromkeys(notices):
        print(f"speckwise: {notice}", file=sys.stderr)
    for line in tally.closing_lines() + (where_to_go_on(out) if invite else []):
        print(line)
    return ALL_DONE if tally.is_whole else SOME_SHOTS_FAILED


def watch_call(folder: Path, out: Path, options: ScoreOptions, doing: Doing) -> int:
    """Scores what arrives in `folder`, until it is stopped."""
    from cli.batch.watching import folder_to_watch

    refuse_address(out)
    folder_to_watch(folder, out)
    warn_of_two_opencvs()
    from cli.batch.arrivals import Arrivals
    from cli.batch.live import Live
    from cli.batch.manifests import WatchedManifest
    from cli.batch.run import work_in
    from cli.batch.watching import watch

    unlisted: list[str] = []
    live = Live(out, doing.quiet)
    manifest = WatchedManifest(folder, live.say)
    facts, call = make_call(options, doing, live, [folder], unlisted)
    # Cameras begin again at IMG_0001: what was scored before must not leave the desk, answers and all.
    call = replace(call, keep_replaced=True, manifests=manifest)
    print(f"Watching {folder}. Each shot is told here and on {out / NOW}; Ctrl-C ends it.", flush=True)
    work_in(out, facts, call, lambda running: watch(running, Arrivals(folder, out, live.say), live, manifest))
    return ALL_DONE


def make_call(
    options: ScoreOptions, doing: Doing, tell: Teller, paths: Sequence[str | Path], unlisted: Sequence[str]
) -> tuple[RunFacts, Call]:
    """The run that `options` make, and how its work is done. Raises CallError, ProfileError, GuideError and RankerError."""
    from cli.batch.engines.choose import engine_for
    from cli.batch.run import Call

    make_engine = engine_for(doing.engine, doing.workers)
    facts, make = prepare(options)
    return facts, Call(
        make_score=make,
        make_engine=make_engine,
        make_pages=make_pages,
        teller=tell,
        force=doing.force,
        rehash=doing.rehash,
        aloud=doing.verbose,
        told=told_of_call(paths, options, doing),
        unlisted=unlisted,
    )


def told_of_call(paths: Sequence[str | Path], options: ScoreOptions, doing: Doing) -> dict[str, Any]:
    """What the record says of a call beside what its results depend on; enough to repeat it."""
    return {
        "paths": [shown_path(os.fspath(path)) for path in paths],
        "call": options.as_given(),
        "engine": doing.engine,
    }


def count_ahead(paths: Sequence[str | Path], out: Path, tell: Teller) -> None:
    """Counts the photographs while the first are scored already, so that the time left can be told. Not those at addresses."""
    if any(is_address(os.fspath(path)) for path in paths):
        return

    def work() -> None:
        with suppress(SpeckwiseError):
            tell.total(count_pictures(paths, out))

    threading.Thread(target=work, daemon=True).start()


def where_to_go_on(out: Path) -> list[str]:
    """What a person does next."""
    return [f"Look at {out / INDEX}", f"Answer for every flag: speckwise review {shlex.quote(str(out))}"]


def score_samples(out: Path, quiet: bool = False) -> int:
    """Scores the photographs that come with the program; an earlier version's demo in the same place goes to earlier/."""
    scenario = tomllib.loads(resources.files("sample_images").joinpath("scenario.toml").read_text(encoding="utf-8"))
    samples = Path(str(resources.files("sample_images").joinpath("scenario.toml"))).parent
    print(f"The photographs are in {samples}")
    code = score_call([samples], out, ScoreOptions(px_per_mm=scenario["px_per_mm"]), Doing(force=True, quiet=quiet))
    if code in {ALL_DONE, SOME_SHOTS_FAILED}:
        print(
            f"Annotated pictures are in {out / PICTURES}, the tables are {out / 'candidates.csv'} and {out / 'shots.csv'}."
        )
    return code
