"""What sets the kinds of animal apart: spreads of the parameters of one body plan, overlapping at their edges."""

from __future__ import annotations

from dataclasses import dataclass

Spread = tuple[float, float]

# A swelling of the outline: spreads of its middle and half length (shares of the length), its height (share of the
# greatest half-width) and its bluntness (0.5 is an ellipse, more is pointed, less is square).
Lobe = tuple[Spread, Spread, Spread, Spread]
ROUNDED = (0.4, 0.65)


@dataclass(frozen=True)
class Plan:
    """Spreads of what a kind can be; lengths of limbs are shares of the body's length, chances are 0..1."""

    length_mm: Spread
    slim: Spread
    colours: str
    lobes: tuple[Lobe, ...]
    turn: Spread = (0.0, 0.6)
    rings: tuple[int, int] = (0, 1)
    ring_depth: Spread = (0.0, 0.08)
    legs: int = 0
    leg_length: Spread = (0.3, 0.6)
    leg_zone: Spread = (0.2, 0.5)
    prolegs: float = 0.0
    antenna: Spread = (0.0, 0.0)
    feathery: float = 0.0
    tubes: float = 0.0
    wings: float = 0.0
    fringed: bool = False
    hairs: float = 0.0
    eyes: float = 0.0
    dark_head: float = 0.0
    head_end: float = 0.12
    hook: float = 0.0
    organs: tuple[str, ...] = ("gut", "spots", "fat", "core")
    marks: tuple[str, ...] = ("bands", "stripe", "dots", "tips", "blotch")
    opacity: Spread = (0.3, 1.0)


PLANS = {
    "aphid": Plan(
        (0.8, 2.6),
        (1.5, 2.4),
        "green green pale olive olive brown black grey russet cream yellow",
        (
            ((0.6, 0.68), (0.33, 0.4), (0.9, 1.0), ROUNDED),
            ((0.24, 0.34), (0.2, 0.3), (0.55, 0.8), ROUNDED),
            ((0.1, 0.13), (0.09, 0.13), (0.32, 0.48), ROUNDED),
            ((0.93, 0.95), (0.05, 0.07), (0.08, 0.2), ROUNDED),
        ),
        (0.0, 0.35),
        (0, 9),
        (0.0, 0.03),
        6,
        (0.45, 0.95),
        (0.2, 0.48),
        antenna=(0.35, 1.2),
        tubes=0.85,
        wings=0.14,
        hairs=0.12,
        eyes=0.9,
        dark_head=0.15,
        organs=("embryos", "embryos", "gut", "spots", "fat", "core", "yolk"),
        marks=("bands", "blotch", "dots", "stripe", "tips"),
    ),
    "thrips": Plan(
        (0.5, 1.6),
        (4.4, 6.8),
        "yellow yellow amber brown brown black cream tan",
        (
            ((0.06, 0.08), (0.07, 0.09), (0.5, 0.7), (0.25, 0.45)),
            ((0.18, 0.2), (0.08, 0.1), (0.65, 0.85), (0.3, 0.5)),
            ((0.34, 0.36), (0.13, 0.16), (0.8, 1.0), (0.25, 0.4)),
            ((0.62, 0.68), (0.35, 0.38), (0.75, 1.0), (0.5, 0.85)),
        ),
        (0.0, 0.6),
        (7, 12),
        (0.02, 0.1),
        6,
        (0.16, 0.3),
        (0.16, 0.4),
        antenna=(0.14, 0.26),
        wings=0.62,
        fringed=True,
        hairs=0.3,
        eyes=0.9,
        dark_head=0.15,
        head_end=0.11,
        organs=("gut", "spots", "fat"),
        marks=("bands", "bands", "tips", "blotch"),
    ),
    "caterpillar": Plan(
        (2.0, 12.0),
        (5.0, 9.5),
        "green green pale cream brown tan olive glass pink",
        (((0.5, 0.52), (0.48, 0.5), (0.95, 1.0), (0.14, 0.32)), ((0.05, 0.06), (0.05, 0.06), (0.6, 1.0), (0.35, 0.5))),
        (0.0, 3.6),
        (11, 15),
        (0.03, 0.16),
        6,
        (0.03, 0.07),
        (0.1, 0.22),
        prolegs=0.7,
        antenna=(0.0, 0.02),
        hairs=0.35,
        eyes=0.25,
        dark_head=0.75,
        head_end=0.085,
        organs=("gut", "gut", "fat", "spots"),
        marks=("stripe", "stripe", "lines", "dots", "bands", "tips"),
        opacity=(0.3, 0.97),
    ),
    "larva": Plan(
        (0.4, 1.6),
        (3.0, 5.5),
        "cream cream glass white pale yellow pink amber",
        (((0.5, 0.64), (0.36, 0.5), (0.95, 1.0), (0.25, 0.6)), ((0.06, 0.1), (0.07, 0.12), (0.3, 0.85), (0.35, 0.6))),
        (0.0, 3.4),
        (8, 14),
        (0.02, 0.14),
        6,
        (0.0, 0.07),
        (0.1, 0.25),
        prolegs=0.2,
        hairs=0.25,
        eyes=0.15,
        dark_head=0.45,
        head_end=0.13,
        hook=0.55,
        organs=("gut", "gut", "fat", "yolk", "spots"),
        marks=("bands", "dots", "stripe"),
        opacity=(0.15, 0.75),
    ),
    "mite": Plan(
        (0.2, 0.6),
        (1.1, 1.8),
        "red red tan cream yellow amber glass russet",
        (
            ((0.55, 0.6), (0.4, 0.45), (0.95, 1.0), (0.35, 0.55)),
            ((0.1, 0.14), (0.1, 0.14), (0.25, 0.5), ROUNDED),
            ((0.3, 0.36), (0.2, 0.28), (0.6, 0.85), ROUNDED),
        ),
        (0.0, 0.1),
        (0, 1),
        (0.0, 0.02),
        8,
        (0.35, 0.9),
        (0.16, 0.55),
        hairs=0.5,
        eyes=0.3,
        organs=("clots", "clots", "fat", "gut", "core"),
        marks=("blotch", "dots", "tips"),
        opacity=(0.25, 1.0),
    ),
    "gnat": Plan(
        (1.0, 3.0),
        (3.6, 5.4),
        "black black brown brown grey tan amber olive",
        (
            ((0.07, 0.08), (0.07, 0.085), (0.5, 0.7), (0.45, 0.5)),
            ((0.27, 0.3), (0.15, 0.19), (0.95, 1.0), (0.45, 0.6)),
            ((0.68, 0.7), (0.32, 0.34), (0.45, 0.85), (0.4, 0.8)),
        ),
        (0.0, 1.1),
        (6, 10),
        (0.02, 0.1),
        6,
        (0.6, 1.5),
        (0.18, 0.4),
        antenna=(0.2, 0.6),
        feathery=0.35,
        wings=0.9,
        hairs=0.4,
        eyes=0.9,
        dark_head=0.5,
        head_end=0.13,
        organs=("gut", "spots", "fat", "yolk"),
        marks=("bands", "bands", "blotch", "stripe"),
        opacity=(0.45, 1.0),
    ),
    "egg": Plan(
        (0.25, 1.0),
        (1.2, 4.0),
        "white white yellow cream tan black amber glass",
        (((0.46, 0.54), (0.5, 0.54), (1.0, 1.0), (0.3, 0.75)),),
        (0.0, 0.35),
        organs=("yolk", "core", "fat", "spots"),
        marks=("lines", "dots", "tips", "blotch"),
        opacity=(0.25, 1.0),
    ),
    "skin": Plan(
        (0.8, 2.2),
        (1.6, 3.0),
        "white white cream glass grey",
        (
            ((0.6, 0.7), (0.33, 0.4), (0.8, 1.0), ROUNDED),
            ((0.24, 0.34), (0.2, 0.3), (0.5, 0.8), ROUNDED),
            ((0.1, 0.13), (0.09, 0.13), (0.3, 0.5), ROUNDED),
        ),
        (0.0, 1.2),
        (4, 9),
        (0.02, 0.1),
        6,
        (0.35, 0.8),
        (0.2, 0.48),
        antenna=(0.3, 0.9),
        tubes=0.6,
        hairs=0.1,
        eyes=0.15,
        organs=(),
        marks=("bands", "lines", "blotch", "stripe"),
        opacity=(0.08, 0.32),
    ),
}
