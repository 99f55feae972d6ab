"""Writing the scale strip and the corner pieces for the printer."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from cli.exits import ALL_DONE
from cli.words import count
from vision.errors import CallError

MOST_COPIES = 500
_ENDINGS = (".pdf", ".png", ".svg")


@dataclass(frozen=True)
class SlipOptions:
    """What `slip` was told, as typed."""

    paper: str = "a4"
    copies: int = 1
    corners: bool = False
    lot: str = ""
    sample: str = ""
    produce: str = ""
    pieces: Sequence[str] = ()


def slip_call(out: Path, options: SlipOptions) -> int:
    """Writes the strips, or corner pieces, to `out` and says how to print and lay them; the exit code.

    Raises CallError where what was asked for can't be drawn, and the errors of `write_bytes`; nothing is written then.
    """
    _check(out, options)
    from calib.slip.draw import as_pdf, as_png, as_svg
    from calib.slip.layout import CORNERS, corner, strip
    from calib.slip.view import SlipText
    from vision.files import write_bytes

    draw = {".pdf": as_pdf, ".png": as_png, ".svg": as_svg}[out.suffix.lower()]
    if options.corners:
        prints = [(corner(number), None) for _ in range(options.copies) for number in range(1, len(CORNERS) + 1)]
    else:
        texts = [
            SlipText(options.lot, options.sample, options.produce, piece)
            for piece in options.pieces or ("",)
            for _ in range(options.copies)
        ]
        prints = [(strip(), None if text == SlipText() else text) for text in texts]
    try:
        data = draw(prints, options.paper.lower())
    except ValueError as error:
        raise CallError(str(error)) from error
    write_bytes(out, data)
    for line in _what_to_do(options, len(prints)):
        print(line)
    print(f"Written: {out}")
    return ALL_DONE


def _check(out: Path, options: SlipOptions) -> None:
    if out.suffix.lower() not in _ENDINGS:
        raise CallError(
            f"{out.name} must end in {', '.join(_ENDINGS[:-1])} or {_ENDINGS[-1]}: that says what is written."
        )
    if not out.parent.is_dir():
        raise CallError(f"The folder {out.parent} is not there.")
    if options.paper.lower() not in ("a4", "letter"):
        raise CallError(f"--paper {options.paper} is not known: a4 or letter.")
    if not 1 <= options.copies <= MOST_COPIES:
        raise CallError(f"--copies must be from 1 to {MOST_COPIES}.")
    if options.corners and any((options.lot, options.sample, options.produce, *options.pieces)):
        raise CallError(
            "The corner pieces carry no texts: leave out --lot, --sample, --produce and --piece, or --corners."
        )


def _what_to_do(options: SlipOptions, many: int) -> list[str]:
    what = count(options.copies, "set") + " of 4 corner pieces" if options.corners else count(many, "strip")
    paper = {"a4": "A4", "letter": "Letter"}[options.paper.lower()]
    lines = [f"{what} on {paper}. Print at 100 %, never 'fit to page', on matt paper or on film."]
    if options.corners:
        lines.append("Measure the outline of a piece with a ruler: it must be 20.4 mm wide and 20.4 mm high.")
        lines.append(
            "Cut along the outline. Lay 1 to 4 flat into the corners of the field, clockwise from the top left."
        )
    else:
        lines.append("Measure the bar on the strip with a ruler: it must be 50.0 mm long, or every size will be wrong.")
        lines.append(
            "Cut along the outline. Lay the strip flat beside the produce, printed side up, all of it in the shot;"
        )
        lines.append(
            "glue it to something stiff where it curls. On film it can lie under the tray, seen through the water."
        )
    return lines
