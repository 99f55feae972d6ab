"""Values -> tables: ONE column list each, with name, dtype, digits, unit and meaning; README and pages are made from it.

Tables are UTF-8 with BOM, comma, CRLF, a header row, `.` decimals (RFC 4180). A text cell that a spreadsheet would take for a
formula gets one leading apostrophe; reading back removes exactly one.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

from vision.errors import TableError
from vision.types import Candidate, Inspection, SizesMm

Kind = Literal["text", "integer", "number"]
Cell = str | int | float | None

PERSON_COLUMNS = ("answer", "kind", "body", "basis", "reviewer", "note")
"""Empty when the tool writes them; a person's words, never rewritten."""

_PIECE_CHARACTERS = 1 << 20
# What a spreadsheet may run as a formula, and the apostrophe itself, so that taking one away always gives the text back.
_ESCAPED_STARTS = ("=", "+", "-", "@", "\t", "\r", "'")


@dataclass(frozen=True)
class Belonging:
    """What a shot belongs to, as far as it is known; '' where it is not."""

    shot: str
    run: str
    lot: str = ""
    sample: str = ""
    piece: str = ""
    view: str = ""


@dataclass(frozen=True)
class Column:
    """One column: how it is called, what it holds, and where the value comes from."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    digits: int = 0
    """Decimals of a number."""
    get: Callable[..., Cell] = lambda *_: None


def _mm(pick: Callable[[SizesMm], float]) -> Callable[[Belonging, Inspection, Candidate], Cell]:
    return lambda b, i, c: None if c.sizes is None else pick(c.sizes)


def _form(name: str) -> Callable[[Belonging, Inspection, Candidate], Cell]:
    """A ratio: on the ground's plane where that is known, else in the picture."""
    return lambda b, i, c: getattr(c.measures if c.sizes is None else c.sizes, name)


CANDIDATES: tuple[Column, ...] = (
    Column("lot", "text", "the lot, where known", get=lambda b, i, c: b.lot),
    Column("sample", "text", "the sample, where known", get=lambda b, i, c: b.sample),
    Column(
        "piece",
        "text",
        "the piece, where known; else its number on the tray, row by row, where the shot shows several",
        get=lambda b, i, c: b.piece or (str(c.piece) if i.by_piece and c.piece else ""),
    ),
    Column("view", "text", "the view, where known", get=lambda b, i, c: b.view),
    Column("shot", "text", "path of the photograph, relative to the PATH that brought it", get=lambda b, i, c: b.shot),
    Column("shot_sha256", "text", "SHA-256 of the file's bytes", get=lambda b, i, c: i.shot_sha256),
    Column("run", "text", "hash of version, options, profile, guide and ranker", get=lambda b, i, c: b.run),
    Column(
        "candidate",
        "integer",
        "1, 2, … within the shot, highest score first, or as a guide orders them",
        get=lambda b, i, c: c.number,
    ),
    Column("x_px", "number", "centre, to the right", "px", 1, lambda b, i, c: c.measures.x_px),
    Column("y_px", "number", "centre, down", "px", 1, lambda b, i, c: c.measures.y_px),
    Column("x_mm", "number", "centre on the ground's plane, to the right", "mm", 2, _mm(lambda s: s.x_mm)),
    Column("y_mm", "number", "centre on the ground's plane, down", "mm", 2, _mm(lambda s: s.y_mm)),
    Column("left_px", "integer", "upright box: left", "px", get=lambda b, i, c: c.measures.left_px),
    Column("top_px", "integer", "upright box: top", "px", get=lambda b, i, c: c.measures.top_px),
    Column("wide_px", "integer", "upright box: width", "px", get=lambda b, i, c: c.measures.wide_px),
    Column("high_px", "integer", "upright box: height", "px", get=lambda b, i, c: c.measures.high_px),
    Column(
        "angle_deg",
        "number",
        "direction of the body, 0 along x, clockwise as seen",
        "°",
        1,
        lambda b, i, c: c.measures.angle_deg,
    ),
    Column("surface", "text", "panel, water, cloth or produce", get=lambda b, i, c: str(c.surface)),
    Column("tone", "text", "darker or lighter than what is round it", get=lambda b, i, c: str(c.tone)),
    Column("shape", "text", "round, linear, curved, trail or irregular", get=lambda b, i, c: c.shape),
    Column(
        "length_mm",
        "number",
        "body length, along the curve for curved and trail",
        "mm",
        2,
        _mm(lambda s: s.length_mm),
    ),
    Column("width_mm", "number", "body width", "mm", 2, _mm(lambda s: s.width_mm)),
    Column(
        "size_uncertainty",
        "number",
        "relative standard uncertainty of length and width: outline, blur, scale and, on produce, its height",
        "",
        2,
        lambda b, i, c: c.size_uncertainty,
    ),
    Column(
        "max_feret_mm",
        "number",
        "largest distance of parallel tangents (ISO 9276-6)",
        "mm",
        2,
        _mm(lambda s: s.max_feret_mm),
    ),
    Column(
        "min_feret_mm",
        "number",
        "smallest distance of parallel tangents (ISO 9276-6)",
        "mm",
        2,
        _mm(lambda s: s.min_feret_mm),
    ),
    Column("area_mm2", "number", "projected area", "mm²", 3, _mm(lambda s: s.area_mm2)),
    Column(
        "equivalent_diameter_mm",
        "number",
        "diameter of the disc of the same area (ISO 9276-6)",
        "mm",
        2,
        _mm(lambda s: s.equivalent_diameter_mm),
    ),
    Column("aspect_ratio", "number", "min_feret / max_feret (ISO 9276-6)", "", 2, _form("aspect_ratio")),
    Column("circularity", "number", "sqrt(4π area) / perimeter (ISO 9276-6)", "", 2, _form("circularity")),
    Column("solidity", "number", "area / area of the convex hull (ISO 9276-6)", "", 2, _form("solidity")),
    Column(
        "delta_e",
        "number",
        "CIEDE2000 against what is round it (nominal: phones map tones)",
        "",
        1,
        lambda b, i, c: c.measures.delta_e,
    ),
    Column(
        "density",
        "number",
        "optical density against what is round it (nominal)",
        "",
        3,
        lambda b, i, c: c.measures.density,
    ),
    Column("snr", "number", "signal to noise of the search", "", 1, lambda b, i, c: c.measures.snr),
    Column(
        "resembles",
        "text",
        "what it looks like: an insect, a look-alike, or something else, maybe alive",
        get=lambda b, i, c: c.resembles,
    ),
    Column("why", "text", "the reasons in plain words", get=lambda b, i, c: c.why),
    Column(
        "score", "number", "0..1, orders the list; not the chance that it is an insect", "", 3, lambda b, i, c: c.score
    ),
    Column("found_by", "text", "tool, or person", get=lambda b, i, c: "tool"),
    Column("answer", "text", "for the person: insect, not_insect or look_again"),
    Column("kind", "text", "for the person: which insect"),
    Column("body", "text", "for the person: whole, part_with_head, part, skin, egg, pupa, mummy, trail or colony"),
    Column("basis", "text", "for the person: in_hand, loupe or picture"),
    Column("reviewer", "text", "for the person: who answered"),
    Column("note", "text", "for the person: anything else"),
)


@dataclass(frozen=True)
class ShotFacts:
    """What shots.csv says of a shot beside its inspection; `inspection` is None where it could not be read."""

    belonging: Belonging
    shot_sha256: str
    inspection: Inspection | None
    error: str = ""
    duplicate_of: str = ""
    drift: str = ""


def _of(pick: Callable[[Inspection], Cell]) -> Callable[[ShotFacts], Cell]:
    return lambda f: None if f.inspection is None else pick(f.inspection)


def _sharpness_cy_mm(i: Inspection) -> Cell:
    sharp = i.quality.sharpness_cy_px
    return None if sharp is None or i.px_per_mm is None else sharp * i.px_per_mm


SHOTS: tuple[Column, ...] = (
    Column(
        "shot", "text", "path of the photograph, relative to the PATH that brought it", get=lambda f: f.belonging.shot
    ),
    Column("shot_sha256", "text", "SHA-256 of the file's bytes", get=lambda f: f.shot_sha256),
    Column("run", "text", "hash of version, options, profile, guide and ranker", get=lambda f: f.belonging.run),
    Column("lot", "text", "the lot, where known", get=lambda f: f.belonging.lot),
    Column("sample", "text", "the sample, where known", get=lambda f: f.belonging.sample),
    Column("piece", "text", "the piece, where known", get=lambda f: f.belonging.piece),
    Column("view", "text", "the view, where known", get=lambda f: f.belonging.view),
    Column("produce", "text", "the guide used", get=_of(lambda i: i.produce_name)),
    Column("taken_at", "text", "the camera's own time", get=_of(lambda i: i.taken_at)),
    Column("width_px", "integer", "upright width", "px", get=_of(lambda i: i.width_px)),
    Column("height_px", "integer", "upright height", "px", get=_of(lambda i: i.height_px)),
    Column(
        "px_per_mm",
        "number",
        "scale where it is quoted (the slip's centre); empty when unknown",
        "px/mm",
        2,
        _of(lambda i: i.px_per_mm),
    ),
    Column(
        "scale_from",
        "text",
        "where the scale comes from: slip, profile, option, ruler or none",
        get=_of(lambda i: str(i.scale_from)),
    ),
    Column("ground", "text", "panel, water or cloth", get=_of(lambda i: str(i.ground))),
    Column("lit_from", "text", "below, above or both", get=_of(lambda i: str(i.lit_from))),
    Column(
        "panel_level",
        "number",
        "median light of the bare ground, share of full scale",
        "",
        3,
        _of(lambda i: i.quality.panel_level),
    ),
    Column(
        "clipped",
        "number",
        "share of pixels at full scale in two channels or more",
        "",
        4,
        _of(lambda i: i.quality.clipped),
    ),
    Column("uneven", "number", "(max - min) / max of the ground's light", "", 3, _of(lambda i: i.quality.uneven)),
    Column(
        "sharpness_cy_mm",
        "number",
        "where contrast falls to half (MTF50, ISO 12233) without the camera's sharpening: on the slip, else from the shot's own edges",
        "cy/mm",
        2,
        _of(_sharpness_cy_mm),
    ),
    Column(
        "noise",
        "number",
        "pixel-to-pixel standard deviation of the ground's optical density",
        "",
        4,
        _of(lambda i: i.quality.noise),
    ),
    Column(
        "unsearched_pct",
        "number",
        "share of the picture that was not searched",
        "%",
        1,
        _of(lambda i: 100 * i.quality.unsearched),
    ),
    Column("usable", "text", "no: the shot can't show what it is meant to", get=_of(lambda i: str(i.usable))),
    Column(
        "reasons",
        "text",
        "the one thing to change first, then what limits this shot, in plain words",
        get=_of(lambda i: " ".join(filter(None, (i.instruction, *i.reasons)))),
    ),
    Column(
        "limit_round_mm", "number", "smallest round speck it could have shown", "mm", 2, _of(lambda i: i.limit_round_mm)
    ),
    Column(
        "limit_linear_mm",
        "number",
        "smallest width of a thin speck it could have shown",
        "mm",
        2,
        _of(lambda i: i.limit_linear_mm),
    ),
    Column("candidates", "integer", "rows of this shot in candidates.csv", get=_of(lambda i: len(i.candidates))),
    Column("duplicate_of", "text", "another shot with the same bytes", get=lambda f: f.duplicate_of),
    Column("drift", "text", "how the shot differs from the panel's profile", get=lambda f: f.drift),
    Column("error", "text", "why this shot could not be scored", get=lambda f: f.error),
)


def format_cell(column: Column, value: Cell) -> str:
    """One value as the table writes it: '' for nothing, fixed digits for numbers, text kept from running as a formula.

    Raises ValueError for a number that is not finite: a table never holds one.
    """
    if value is None or value == "":
        return ""
    if column.kind == "integer":
        return str(int(value))
    if column.kind == "number":
        number = float(value)
        if not math.isfinite(number):
            raise ValueError(f"{column.name} is not a finite number")
        text = f"{number:.{column.digits}f}"
        return text.removeprefix("-") if float(text) == 0 else text
    text = str(value)
    return "'" + text if text.startswith(_ESCAPED_STARTS) else text


def unescape(cell: str) -> str:
    """A text cell as it was before `format_cell`: exactly one leading apostrophe removed."""
    return cell.removeprefix("'")


def candidate_rows(belonging: Belonging, inspection: Inspection) -> list[list[str]]:
    """The cells of every candidate of a shot, in the order of CANDIDATES; an empty list where nothing was flagged."""
    return [
        [format_cell(column, column.get(belonging, inspection, candidate)) for column in CANDIDATES]
        for candidate in inspection.candidates
    ]


def shot_row(facts: ShotFacts) -> list[str]:
    """The cells of one shot, in the order of SHOTS."""
    return [format_cell(column, column.get(facts)) for column in SHOTS]


def csv_pieces(columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> Iterator[bytes]:
    """Rows of cells as the bytes of a table file, in pieces of some 1 MiB that are joined as they come."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow([column.name for column in columns])
    before = b"\xef\xbb\xbf"
    for row in rows:
        writer.writerow(row)
        if out.tell() >= _PIECE_CHARACTERS:
            yield before + out.getvalue().encode("utf-8")
            before = b""
            out.seek(0)
            out.truncate()
    yield before + out.getvalue().encode("utf-8")


def to_csv(columns: Sequence[Column], rows: Iterable[Sequence[str]]) -> bytes:
    """Rows of cells as the bytes of a table file."""
    return b"".join(csv_pieces(columns, rows))


def from_csv(columns: Sequence[Column], data: bytes) -> list[list[str]]:
    """The cells of a table file that this program wrote, as they stand in it (formulas still escaped).

    Raises TableError when it is not UTF-8 or its header is not that of `columns`.
    """
    try:
        text = data.decode("utf-8-sig")
        rows = list(csv.reader(io.StringIO(text, newline=""), strict=True))
    except (UnicodeDecodeError, csv.Error) as error:
        raise TableError("The table is not UTF-8 text with commas.") from error
    names = [column.name for column in columns]
    if not rows or rows[0] != names:
        raise TableError("The table's columns are not those of this version.")
    if any(len(row) != len(names) for row in rows[1:]):
        raise TableError("A row of the table has too many or too few cells.")
    return rows[1:]


_DTYPES: Mapping[Kind, Any] = {"text": "string", "integer": "Int64", "number": "Float64"}


def to_frame(columns: Sequence[Column], rows: Sequence[Sequence[str]]) -> Any:
    """Cells as a pandas DataFrame: text `string`, whole numbers `Int64`, numbers `Float64`; the same columns when empty."""
    import pandas as pd

    def value(column: Column, cell: str) -> Cell:
        if column.kind == "text":
            return unescape(cell)
        return (
            (None if cell == "" else int(cell)) if column.kind == "integer" else (None if cell == "" else float(cell))
        )

    return pd.DataFrame(
        {
            column.name: pd.array([value(column, row[k]) for row in rows], dtype=_DTYPES[column.kind])
            for k, column in enumerate(columns)
        }
    )


def describe(columns: Sequence[Column]) -> str:
    """The columns as a Markdown table, for the README and the pages."""
    lines = ["| column | unit | meaning |", "|---|---|---|"]
    lines += [f"| `{column.name}` | {column.unit} | {column.meaning} |" for column in columns]
    return "\n".join(lines) + "\n"
