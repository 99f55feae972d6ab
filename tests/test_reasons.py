"""The words for why a speck is listed: colours against the CSS names as matplotlib carries them, what the line says and when."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from drawn_shots import disc, panel_shot
from matplotlib.colors import CSS4_COLORS, to_rgb
from skimage.color import rgb2lab

from vision.measure import Measured
from vision.pipeline import observe
from vision.rank import shipped_ranker
from vision.reasons import colour_name, say_why
from vision.types import Setup


def name_of(css: str) -> str:
    lab = rgb2lab(np.array(to_rgb(CSS4_COLORS[css]))[None, None])[0, 0]
    return colour_name((float(lab[0]), float(lab[1]), float(lab[2])))


@pytest.mark.parametrize(
    ("css", "word"),
    [
        *[(name, "green") for name in ("darkgreen", "green", "darkolivegreen", "seagreen", "palegreen", "forestgreen")],
        *[(name, "brown") for name in ("brown", "saddlebrown", "sienna")],
        *[(name, "grey") for name in ("dimgray", "gray", "darkgray")],
        *[(name, "bluish") for name in ("blue", "slateblue", "steelblue")],
        *[(name, "reddish") for name in ("red", "pink", "deeppink")],
        *[(name, "pale") for name in ("white", "lightgray", "aliceblue")],
        ("tan", "tan"), ("sandybrown", "tan"), ("yellow", "yellowish"), ("black", "black"),
    ],
)  # fmt: skip
def test_colours_go_by_the_names_that_css_gives_them(css: str, word: str) -> None:
    assert word in name_of(css)


@pytest.fixture(scope="module")
def speck() -> Measured:
    shot = panel_shot([(disc(160.3, 120.6, 24), (0.3, 0.2, 0.1))])
    seen = observe(shot, Setup(px_per_mm=20.0), None, shipped_ranker(), everything=True)
    return max(seen.measured, key=lambda m: m.measures.snr)


def test_the_line_says_colour_form_size_edge_and_ground(speck: Measured) -> None:
    line = say_why(speck, "round", None, "water")
    assert "brown" in line
    assert "roundish, 24 x 24 px, sharp, darker than the water round it" in line


def test_what_is_round_a_speck_is_named_on_produce_only_and_only_where_it_differs(speck: Measured) -> None:
    green, brown = np.array([50.0, -30.0, 40.0]), np.array([40.0, 15.0, 30.0])

    def line(own: np.ndarray, around: np.ndarray, on_produce: bool) -> str:
        there = replace(speck.speck, on_produce=on_produce)
        return say_why(replace(speck, speck=there, body_lab=own, around_lab=around), "round", None, "produce")

    assert line(brown, green, True).endswith("; not green like it")
    assert "not green" not in line(green, green, True)
    assert "not green" not in line(brown, green, False)
    assert "not" not in line(brown, np.array([50.0, 0.0, 0.0]), True)
