"""Pictures of the accuracy tables; colours that the colour-blind can tell apart (Okabe and Ito), and dashes and marks beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from judging import Judged
from listing import LISTED, LOST, NO_LOOK, NO_PLACE, Listed
from reliability import bins_of
from sizing import Sized

from vision.counting import ShotCount, recall_at

matplotlib.use("Agg")
from matplotlib import pyplot

_COLOURS = ("#000000", "#0072B2", "#56B4E9", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#999999")
_DASHES = ("-", "--", ":", "-.", "--", ":", "-.", ":")
_HATCHES = ("", "//", "..", "xx")
_TICKS_MM = (0.3, 0.5, 1, 2, 5, 10, 20)
_FALSE = np.linspace(0.1, 16, 60)


def plot_froc(folder: Path, name: str, shots: Sequence[Judged]) -> None:
    """Recall of one kind of scene against false flags a shot: ours, our search alone and the peers."""
    curves: dict[str, list[ShotCount]] = {"ours": [j.ours for j in shots]}
    curves |= {other: [j.others[other] for j in shots] for other in shots[0].others}
    figure, axes = pyplot.subplots(figsize=(7.5, 5))
    for k, (label, counts) in enumerate(curves.items()):
        recall = [recall_at(counts, float(f))[0] for f in _FALSE]
        axes.plot(_FALSE, recall, _DASHES[k % 8], color=_COLOURS[k % 8], label=label, linewidth=2.5 if k == 0 else 1.5)
    axes.set(xlabel="false flags a shot", ylabel="share of insects found", ylim=(0, 1), xlim=(0, 16), title=name)
    axes.grid(alpha=0.3)
    axes.legend(loc="upper left", bbox_to_anchor=(1.0, 1.0), fontsize=8, frameon=False)
    figure.tight_layout()
    figure.savefig(folder / f"froc-{name.replace(' ', '-')}.png", dpi=110)
    pyplot.close(figure)


def plot_together(folder: Path, groups: Mapping[str, Sequence[Judged]]) -> None:
    """Recall of every kind of scene in one picture: ours, our search alone, and the peers as thin lines."""
    figure, grid = _panels(len(groups))
    for axes, (name, shots) in zip(grid.flat, groups.items(), strict=False):
        for k, other in enumerate(shots[0].others):
            alone = other == "our search alone"
            if other.startswith("its "):
                continue
            recall = [recall_at([j.others[other] for j in shots], float(f))[0] for f in _FALSE]
            style = {"linewidth": 1.8, "linestyle": "--", "color": _COLOURS[1]} if alone else {"linewidth": 1.0}
            label = "ours, nothing ranked" if alone else other
            axes.plot(_FALSE, recall, label=label, **({"color": _COLOURS[k % 8], "linestyle": _DASHES[k % 8]} | style))
        recall = [recall_at([j.ours for j in shots], float(f))[0] for f in _FALSE]
        axes.plot(_FALSE, recall, color="black", linewidth=2.5, label="ours")
        axes.set_title(f"{name} ({sum(len(j.ours.bodies) for j in shots)} insects)")
    _keep(figure, folder / "froc.png")


def plot_hands(folder: Path, groups: Mapping[str, Mapping[str, Sequence[Judged]]]) -> None:
    """Recall of every kind of scene in one picture, a line for each hand that drew it."""
    figure, grid = _panels(len(groups))
    for axes, (name, by) in zip(grid.flat, groups.items(), strict=False):
        for k, (whose, judged) in enumerate(by.items()):
            recall = [recall_at([j.ours for j in judged], float(f))[0] for f in _FALSE]
            axes.plot(_FALSE, recall, _DASHES[k % 8], color=_COLOURS[k % 8], linewidth=2.5 - 0.5 * (k > 0), label=whose)
        axes.set_title(name)
    _keep(figure, folder / "hands.png")


def _panels(count: int) -> tuple[Any, Any]:
    """So many panels for recall against false flags, three beside each other; what is over is left empty."""
    rows = -(-count // 3)
    figure, grid = pyplot.subplots(rows, 3, figsize=(11, 0.6 + 3.1 * rows), sharex=True, sharey=True, squeeze=False)
    for k, axes in enumerate(grid.flat):
        axes.set(ylim=(0, 1), xlim=(0, 16), xticks=range(0, 17, 4))
        axes.grid(alpha=0.3)
        if k >= count:
            axes.axis("off")
    figure.supxlabel("false flags a shot", fontsize=10)
    figure.supylabel("share of insects found", fontsize=10)
    return figure, grid


def _keep(figure: Any, path: Path) -> None:
    """Names the lines, what was drawn last first, and writes the picture."""
    handles, labels = figure.axes[0].get_legend_handles_labels()
    figure.legend(handles[::-1], labels[::-1], loc="lower right", fontsize=8, frameon=False)
    figure.tight_layout()
    figure.savefig(path, dpi=110)
    pyplot.close(figure)


def plot_reliability(folder: Path, judged: Sequence[Judged]) -> None:
    """What a score is worth, at the mix it stands for and with one insect in ten shots."""
    found = [b for b in bins_of(judged) if b.insects]
    score, share = [b.mean_score for b in found], [b.insects / b.flags for b in found]
    figure, axes = pyplot.subplots(figsize=(6, 5))
    axes.plot([0.001, 1], [0.001, 1], color="#999999", linewidth=1, label="as the score says")
    axes.plot(score, share, "o-", color=_COLOURS[1], label="half of the shots empty, half with six")
    rare = [b.share_when_rare for b in found]
    axes.plot(score, rare, "s--", color=_COLOURS[3], label="one insect in ten shots")
    axes.set(xscale="log", yscale="log", xlabel="score", ylabel="share of insects among flags of that score")
    axes.set(xlim=(0.001, 1), ylim=(1e-5, 1))
    axes.grid(alpha=0.3)
    axes.legend(fontsize=8, loc="upper left")
    figure.tight_layout()
    figure.savefig(folder / "reliability.png", dpi=110)
    pyplot.close(figure)


def plot_listing(folder: Path, groups: Mapping[str, tuple[Sequence[Listed], Sequence[Listed]]]) -> None:
    """One picture: of each kind of scene's plain insects and small larvae, how many are listed and where the rest is lost."""
    bars = [
        (f"{n}: {w}", some) for n, both in groups.items() for w, some in zip(("plain", "larvae"), both, strict=True)
    ]
    figure, axes = pyplot.subplots(figsize=(8, 1.2 + 0.4 * len(bars)))
    left = np.zeros(len(bars))
    for k, stage in enumerate((LISTED, NO_PLACE, NO_LOOK, LOST)):
        shares = np.array([sum(b.stage == stage for b in some) / max(len(some), 1) for _, some in bars])
        axes.barh(
            range(len(bars)),
            shares,
            left=left,
            color=_COLOURS[k + 1],
            hatch=_HATCHES[k],
            edgecolor="white",
            label=stage,
        )
        left += shares
    axes.set_yticks(range(len(bars)), [f"{name} ({len(some)})" for name, some in bars])
    axes.invert_yaxis()
    axes.set(xlabel="share of bodies, at a minimum score of 0", xlim=(0, 1))
    axes.legend(ncols=4, loc="lower center", bbox_to_anchor=(0.5, 1.0), fontsize=8, frameon=False)
    figure.tight_layout()
    figure.savefig(folder / "listing.png", dpi=110)
    pyplot.close(figure)


def plot_sizes(folder: Path, sizes: Mapping[str, Mapping[str, Sequence[Sized]]]) -> None:
    """One picture: error of length and of width against the true length, a mark and a colour a kind of scene."""
    figure, both = pyplot.subplots(1, 2, figsize=(11, 4.5), sharey=True)
    for axes, what in zip(both, ("length", "width"), strict=True):
        for k, (name, families) in enumerate(sizes.items()):
            found = [s for some in families.values() for s in some]
            error = [100 * getattr(s, f"{what}_error") for s in found]
            axes.scatter(
                [s.length_mm for s in found],
                error,
                s=14,
                marker="os^vDPX*<"[k % 9],
                color=_COLOURS[k % 8],
                alpha=0.6,
                label=name,
            )
        axes.axhline(0, color="black", linewidth=0.8)
        axes.set(xscale="log", xlabel="true length, mm", xlim=(0.3, 20), ylim=(-100, 150), title=f"{what} as read")
        axes.set_xticks(_TICKS_MM, [f"{mm:g}" for mm in _TICKS_MM])
        axes.set_xticks([], minor=True)
        axes.grid(alpha=0.3)
    both[0].set_ylabel("error, % of the truth")
    both[1].legend(fontsize=8)
    figure.tight_layout()
    figure.savefig(folder / "sizes.png", dpi=110)
    pyplot.close(figure)
