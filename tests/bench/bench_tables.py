"""The accuracy bench's tables as Markdown. Limits are exact binomial (Clopper and Pearson), 95%, insects taken as independent."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from judging import FALSE, Judged, Wishes
from listing import LISTED, LOST, NO_LOOK, NO_PLACE, Listed
from peers import HALVED
from reliability import bins_of
from scipy.stats import beta
from sizing import Sized, shape_rows, sizing_rows

from vision.counting import ShotCount, recall_at
from vision.render import TrueBody
from vision.shapes import SHAPES
from vision.types import Cut

SIZES_MM = ((0.3, 0.5), (0.5, 1.0), (1.0, 2.0), (2.0, np.inf))
CONTRASTS = ((0.0, 5.0), (5.0, 10.0), (10.0, np.inf))
"""CIEDE2000 against what is round a body: below 5 it can hardly be seen at its place, from 10 it counts as plain."""
_RECALLS = [f"recall at {n} false a shot" for n in FALSE]


def limits(found: int, of: int) -> tuple[float, float]:
    """Clopper and Pearson's 95% limits of a share."""
    low = float(beta.ppf(0.025, found, of - found + 1)) if found else 0.0
    high = float(beta.ppf(0.975, found + 1, of - found)) if found < of else 1.0
    return low, high


def share(found: int, of: int) -> str:
    """A share with its limits."""
    if not of:
        return "-"
    low, high = limits(found, of)
    return f"{found / of:.2f} ({low:.2f}-{high:.2f})"


def head(*cells: str) -> str:
    """The head of a table."""
    return "\n| " + " | ".join(cells) + " |\n" + "|---" * len(cells) + "|"


def line(*cells: object) -> str:
    """One line of a table."""
    return "| " + " | ".join(str(cell) for cell in cells) + " |"


def recalls(shots: Sequence[ShotCount], keep: Callable[[TrueBody], bool] = lambda body: True) -> list[str]:
    """How many insects, and recall of those to keep at each number of false flags a shot."""
    some = [(hit, b) for c in shots for hit, b in zip(c.hits, c.bodies, strict=True) if keep(b)]
    cells = [str(len(some))]
    for false in FALSE:
        cut = recall_at(shots, false)[1]
        cells.append(share(sum(hit > cut for hit, _ in some), len(some)))
    return cells


def froc_table(name: str, judged: Sequence[Judged], ours_on: Mapping[str, Sequence[Judged]]) -> None:
    """Recall of ours, of our search alone and of peers; ours on other shots, by what they are."""
    print(head("scene", "shots", "insects", *_RECALLS))
    print(line(f"{name}, ours", len(judged), *recalls([j.ours for j in judged])))
    for other in judged[0].others:
        halved = " (at half resolution)" if other in HALVED else ""
        print(line(f"{name}, {other}{halved}", len(judged), *recalls([j.others[other] for j in judged])))
    for what, shots in ours_on.items():
        print(line(f"{name}, {what}, ours", len(shots), *recalls([j.ours for j in shots])))


def chosen_table(chosen: Wishes) -> None:
    """The peers' parameters."""
    if chosen:
        print(head("peer", "parameters chosen on other seeds"))
    for name, wish in chosen.items():
        print(line(name, ", ".join(f"{key} {value}" for key, value in wish.items())))


def cut_table(name: str, judged: Sequence[Judged]) -> None:
    """What the default cut gives a person."""
    cut = Cut().min_score
    hits = [(hit >= cut, b.length_mm >= 1) for j in judged for hit, b in zip(j.ours.hits, j.ours.bodies, strict=True)]
    large = [hit for hit, is_large in hits if is_large]
    empty = [sum(score >= cut for score in j.ours.false) for j in judged if not j.ours.bodies]
    kept = share(sum(large), len(large)), share(sum(hit for hit, _ in hits), len(hits))
    print(
        head(
            "scene",
            f"insects of 1 mm and more flagged at {cut}",
            "all that count",
            "false flags on an empty shot",
            "on ten",
        )
    )
    print(line(name, *kept, *((f"{np.mean(empty):.1f}", f"{10 * np.mean(empty):.0f}") if empty else "--")))


def reliability_table(judged: Sequence[Judged]) -> None:
    """What a score is worth, at the mix of the standard shots and where insects are rare."""
    print(head("score", "flags", "mean score", "share of insects among them", "the same with one insect in ten shots"))
    for b in bins_of(judged):
        rare = f"{b.share_when_rare:.3f}" if b.flags else "-"
        print(line(f"{b.low:g} to {min(b.high, 1):g}", b.flags, f"{b.mean_score:.3f}", share(b.insects, b.flags), rare))


def split_table(
    name: str, insects: Sequence[str], judged: Sequence[Judged], at_scale: Mapping[float, Sequence[Judged]]
) -> None:
    """By insect, size and contrast at the scene's own cuts; by scale on shots of that scale."""
    print(head("insect, size, contrast or scale", "insects", *_RECALLS))
    ours = [j.ours for j in judged]
    for insect in insects:
        print(line(f"{name}: {insect}", *recalls(ours, lambda b, kind=insect: b.kind == kind)))  # type: ignore[misc]
    for low, high in SIZES_MM:
        cells = recalls(ours, lambda b, low=low, high=high: low <= b.length_mm < high)  # type: ignore[misc]
        print(line(f"{name}: {_range(low, high)} mm", *cells))
    for low, high in CONTRASTS:
        cells = recalls(ours, lambda b, low=low, high=high: low <= b.delta_e < high)  # type: ignore[misc]
        print(line(f"{name}: CIEDE2000 {_range(low, high)}", *cells))
    for px_per_mm, shots in at_scale.items():
        print(line(f"{name}: {px_per_mm:g} px/mm", *recalls([j.ours for j in shots])))


def _range(low: float, high: float) -> str:
    return f"{low:g} to {high:g}" if np.isfinite(high) else f"{low:g} and more"


def listing_table(name: str, plain: Sequence[Listed], larvae: Sequence[Listed]) -> None:
    """What a list with a minimum score of 0 holds, and where the rest is lost."""
    print(head("at a minimum score of 0", "bodies", LISTED, "with its size", "by chance", NO_PLACE, NO_LOOK, LOST))
    for what, bodies in (("plain insects", plain), ("larvae of 0.4 to 0.9 mm at 25 px/mm", larvae)):
        listed, *lost = (sum(b.stage == stage for b in bodies) for stage in (LISTED, NO_PLACE, NO_LOOK, LOST))
        found = listed, sum(b.of_its_size for b in bodies), sum(b.by_chance for b in bodies)
        print(line(f"{name}, {what}", len(bodies), *(share(k, len(bodies)) for k in found), *lost))


def sizing_table(name: str, families: Mapping[str, Sequence[Sized]]) -> None:
    """Errors of length and width by family of bodies."""
    print(head("scene and bodies", "form", "n", "length: median error", "bias", "width: median error", "bias"))
    for family, found in families.items():
        print("\n".join(sizing_rows(f"{name}, {family}", found)) or line(f"{name}, {family}", "-", 0))


def shape_table(found: Sequence[Sized]) -> None:
    """Classes as drawn and as named."""
    print(head("drawn as", *(f"named {shape.name}" for shape in SHAPES)))
    print("\n".join(shape_rows(found)))
