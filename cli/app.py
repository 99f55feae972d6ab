"""The commands: typed arguments, one call, an exit code. Nothing heavy is imported before a command runs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

app = typer.Typer(
    name="speckwise",
    help="Finds specks on photographs of produce on a light panel, for a person to judge. An assist, never a clearance.",
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)

Quiet = Annotated[bool, typer.Option("--quiet", help="Say only what went wrong, and the closing lines.")]
Verbose = Annotated[bool, typer.Option("--verbose", help="Say also what is decided on the way, and why.")]
Out = Annotated[Path, typer.Option("--out", metavar="DIR", help="Where to write; the same call completes it.")]
Panel = Annotated[Path | None, typer.Option(metavar="FILE", help="Panel profile, made by `speckwise calibrate`.")]
PxPerMm = Annotated[
    float | None,
    typer.Option("--px-per-mm", metavar="N", help="Pixels in one millimetre, where no slip lies in the shot."),
]
Ruler = Annotated[
    str | None,
    typer.Option(
        metavar="X1,Y1,X2,Y2,MM", help="Two points of a ruler in the shot, in pixels, and the length between."
    ),
]
Produce = Annotated[str | None, typer.Option(metavar="NAME", help="A guide; `speckwise guides` lists them.")]
Ground = Annotated[
    str | None, typer.Option(metavar="panel|water|cloth", help="What the produce, or what came off it, lies on.")
]
Lit = Annotated[str | None, typer.Option(metavar="below|above|both", help="Where the light comes from.")]
MinScore = Annotated[
    float | None, typer.Option("--min-score", metavar="N", help="Flag only what scores at least this, 0 to 1.")
]
MaxFlags = Annotated[
    int | None, typer.Option("--max-flags", metavar="N", help="Flag at most so many on a shot, the best first.")
]
RankerFile = Annotated[
    Path | None, typer.Option("--ranker", metavar="FILE", help="A ranker other than the one that comes along.")
]
EngineName = Annotated[
    str,
    typer.Option("--engine", metavar="here|cores|URL", help="What does the work; a URL is that of a Dask scheduler."),
]
Workers = Annotated[
    int | None, typer.Option(metavar="N", help="How many shots are scored at once; by default one a processor.")
]
Force = Annotated[bool, typer.Option("--force", help="Where DIR holds another run, move it to DIR/earlier/ first.")]


@app.command()
def demo(
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where to write.")] = Path("speckwise-demo"),
    quiet: Quiet = False,
) -> int:
    """Score the sample photographs and say where to look."""
    from cli.scoring import score_samples

    return score_samples(out, quiet)


@app.command()
def score(
    paths: Annotated[
        list[str] | None,
        typer.Argument(metavar="PATH", help="Photographs, folders of them, and addresses (s3://, https://, zip://)."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Where to write; the same call completes it.")
    ] = None,
    panel: Panel = None,
    px_per_mm: PxPerMm = None,
    ruler: Ruler = None,
    produce: Produce = None,
    ground: Ground = None,
    lit: Lit = None,
    min_score: MinScore = None,
    max_flags: MaxFlags = None,
    ranker: RankerFile = None,
    engine: EngineName = "cores",
    workers: Workers = None,
    force: Force = False,
    rehash: Annotated[
        bool, typer.Option("--rehash", help="Read every file, also one that looks untouched since it was scored.")
    ] = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
    again: Annotated[
        Path | None,
        typer.Option(
            metavar="RUN.JSON", help="Repeat the run that this record tells of, and say whether the tables agree."
        ),
    ] = None,
) -> int:
    """Score photographs into annotated pictures and tables.

    DIR then holds candidates.csv, shots.csv, run.json, index.html, pictures/ and pages/. A call that was stopped, or
    killed, is gone on with by the same call; what is done is not done again.

    Exit codes: 0 all done; 1 done, but some shots could not be scored, or the tables of --again do not agree; 2 the call
    is wrong, nothing written; 3 stopped half-way, the same call goes on; 130 stopped by Ctrl-C, likewise.
    """
    from cli.options import Doing, ScoreOptions, needed

    options = ScoreOptions(panel, px_per_mm, ruler, produce, ground, lit, min_score, max_flags, ranker)
    doing = Doing(engine, workers, force, rehash, quiet, verbose)
    if again is not None:
        from cli.again import again_call

        return again_call(again, paths or [], out, options, doing)
    from cli.scoring import score_call

    return score_call(
        needed(paths, "PATH", "photographs, or folders of them"), needed(out, "--out", "a folder"), options, doing
    )


@app.command()
def watch(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where a phone or camera puts its photographs.")],
    out: Out,
    panel: Panel = None,
    px_per_mm: PxPerMm = None,
    ruler: Ruler = None,
    produce: Produce = None,
    ground: Ground = None,
    lit: Lit = None,
    min_score: MinScore = None,
    max_flags: MaxFlags = None,
    ranker: RankerFile = None,
    engine: EngineName = "cores",
    workers: Workers = None,
    force: Force = False,
    quiet: Quiet = False,
    verbose: Verbose = False,
) -> int:
    """Score photographs as they arrive in a folder, until Ctrl-C.

    Each is told in a line, and on the page DIR/now.html: keep it, or take it again and what to change first; the flags;
    how small a speck it could have shown. What is done stays done: the same call goes on after a stop.
    """
    from cli.options import Doing, ScoreOptions
    from cli.scoring import watch_call

    options = ScoreOptions(panel, px_per_mm, ruler, produce, ground, lit, min_score, max_flags, ranker)
    return watch_call(folder, out, options, Doing(engine, workers, force, False, quiet, verbose))


@app.command()
def calibrate(
    blanks: Annotated[list[Path], typer.Argument(metavar="BLANK", help="Photographs of the empty panel.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="The profile; its map is written beside it.")
    ] = None,
    slip: Annotated[
        list[Path] | None,
        typer.Option("--slip", metavar="SHOT", help="A photograph of the slip on the panel; several reach further."),
    ] = None,
    px_per_mm: Annotated[
        float | None, typer.Option(metavar="N", help="Pixels in one millimetre, without a slip.")
    ] = None,
    check: Annotated[
        Path | None, typer.Option("--check", metavar="PROFILE", help="Compare the blanks with this profile instead.")
    ] = None,
) -> int:
    """Measure the empty panel: its light and its marks; with the slip also scale, lens and sharpness.

    An existing profile is replaced; what a person has answered about its marks is carried over. With --check nothing is
    replaced: exit code 1 says that the profile does not hold.
    """
    from cli.calibrate import calibrate_call, check_call

    if check is not None:
        return check_call(check, blanks, out)
    return calibrate_call(blanks, out, px_per_mm, slip or ())


@app.command()
def slip(
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="What to write: a .pdf, .png or .svg.")],
    paper: Annotated[str, typer.Option(metavar="a4|letter", help="The paper it is printed on.")] = "a4",
    copies: Annotated[int, typer.Option(metavar="N", help="How many of each.")] = 1,
    corners: Annotated[bool, typer.Option("--corners", help="Draw the four corner pieces instead.")] = False,
    lot: Annotated[str, typer.Option(metavar="TEXT", help="For the strip's code, as are the next three.")] = "",
    sample: Annotated[str, typer.Option(metavar="TEXT")] = "",
    produce: Annotated[str, typer.Option(metavar="TEXT")] = "",
    piece: Annotated[list[str] | None, typer.Option(metavar="TEXT", help="Several: a strip for each.")] = None,
) -> int:
    """Draw the scale strip that is laid beside the produce, true to scale, for the printer."""
    from cli.slip import SlipOptions, slip_call

    options = SlipOptions(paper, copies, corners, lot, sample, produce, tuple(piece or ()))
    return slip_call(out, options)


@app.command()
def review(
    folder: Annotated[Path, typer.Argument(metavar="DIR", help="A folder that `speckwise score` has written.")],
    take: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Take the answers of a filled-in candidates.csv, and end.")
    ] = None,
    give: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the answers to a .csv, or as COCO to a .json, and end.")
    ] = None,
    store: Annotated[
        str | None, typer.Option(metavar="URL", help="Where answers are kept, if not beside the results.")
    ] = None,
    share: Annotated[bool, typer.Option("--share", help="Let others on the network answer, by a secret link.")] = False,
    port: Annotated[int | None, typer.Option(metavar="N", help="The port to listen on.")] = None,
    name: Annotated[str, typer.Option(metavar="TEXT", help="Who answers, where nobody else is named.")] = "",
) -> int:
    """Open the review desk in the browser: a person answers for every flag.

    Answers are kept beside the results as they are given. Ctrl-C closes the desk; nothing that was answered is lost.
    """
    from cli.review.call import ReviewOptions, review_call

    return review_call(folder, ReviewOptions(take, give, store, share, port, name))


@app.command()
def report(
    folders: Annotated[
        list[Path] | None,
        typer.Argument(metavar="DIR", help="A folder that `speckwise score` has written; several for --since."),
    ] = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="What to write: an .html, .pdf or .csv.")
    ] = None,
    lot: Annotated[
        str | None, typer.Option("--lot", metavar="TEXT", help="Which lot, where there are several.")
    ] = None,
    verify: Annotated[
        bool, typer.Option("--verify", help="Write nothing: say whether FILE still is what DIR gives.")
    ] = False,
    supplier: Annotated[
        bool, typer.Option("--supplier", help="The page for the supplier: no names of staff, no rates.")
    ] = False,
    blank: Annotated[
        bool, typer.Option("--blank", help="The empty page, for hours when no device may be used; takes no DIR.")
    ] = False,
    since: Annotated[
        str | None,
        typer.Option(metavar="DAY", help="A page over all lots first checked from this day, YYYY-MM-DD, on."),
    ] = None,
    until: Annotated[str | None, typer.Option(metavar="DAY", help="The last such day; today if left out.")] = None,
    defect_levels: Annotated[
        str, typer.Option(metavar="PRODUCT", help="Put FDA's defect levels for a processed product beside the count.")
    ] = "",
    paper: Annotated[str, typer.Option(metavar="a4|letter", help="The paper it is printed on.")] = "a4",
    store: Annotated[
        str | None, typer.Option(metavar="URL", help="Where answers are kept, if not beside the results.")
    ] = None,
) -> int:
    """Write the record of a lot: what was not looked at, what was found, what that says, the rule and the decision.

    Exit code 1 of --verify says that FILE is not what DIR gives, and what differs.
    """
    from cli.lots.asked import ReportAsked, report_asked
    from cli.options import needed

    asked = ReportAsked(verify, supplier, blank, since, until, lot, defect_levels, paper, store)
    return report_asked(folders or [], needed(out, "--out", "a file"), asked)


@app.command()
def guides(name: Annotated[str | None, typer.Argument(metavar="NAME", help="One of the kinds listed.")] = None) -> int:
    """List how to check each kind of produce, or print one."""
    from cli.guides import print_guides

    return print_guides(name)
