"""How each kind of insect narrows the ranges of the one grammar."""

from dataclasses import dataclass, field

from vision.render.hands.loosened.chance import Colour, Span

GREEN: Colour = (0.22, 0.4, 0.07)
LIME: Colour = (0.5, 0.64, 0.2)
OLIVE: Colour = (0.17, 0.19, 0.05)
BROWN: Colour = (0.2, 0.1, 0.035)
BLACK: Colour = (0.022, 0.02, 0.018)
GREY: Colour = (0.26, 0.26, 0.24)
RED: Colour = (0.42, 0.1, 0.05)
WHITE: Colour = (0.8, 0.79, 0.72)
YELLOW: Colour = (0.78, 0.6, 0.12)
TAN: Colour = (0.5, 0.33, 0.14)
CREAM: Colour = (0.77, 0.7, 0.48)
AMBER: Colour = (0.52, 0.25, 0.05)
PINK: Colour = (0.62, 0.36, 0.28)

Profile = tuple[float, ...]


@dataclass(frozen=True)
class Limbs:
    """Pairs of legs: where along the body (share), length and thickness in body lengths and mm, joints, how bent."""

    pairs: int
    where: Span
    length: Span
    thick_mm: Span
    joints: tuple[int, int] = (2, 4)
    bend: Span = (-0.3, 0.7)


@dataclass(frozen=True)
class Ranges:
    """One kind: spans of its numbers, its profiles, colours, and how likely each of its parts and patterns is."""

    length_mm: Span
    aspect: Span
    profiles: tuple[Profile, ...]
    ends: tuple[Span, Span]
    segments: tuple[int, int]
    scallop: Span
    turns: Span
    bowed: float
    palette: tuple[Colour, ...]
    opacity: Span
    patterns: dict[str, float]
    legs: Limbs
    feelers: Span = (0.0, 0.0)
    feeler_mm: Span = (0.012, 0.03)
    plumed: float = 0.0
    tubes: float = 0.0
    stubs: float = 0.0
    winged: float = 0.0
    wing: str = ""
    cap: float = 0.0
    cap_share: Span = (0.06, 0.13)
    eyes: float = 0.0
    hairs: float = 0.1
    sides: tuple[float, float, float] = (0.5, 0.28, 0.22)
    accents: tuple[Colour, ...] = field(default=(BROWN, BLACK, RED, CREAM, YELLOW, GREEN))


_PEAR: tuple[Profile, ...] = (
    (0.42, 0.52, 0.62, 0.78, 0.95, 1.0, 0.86, 0.5),
    (0.45, 0.66, 0.85, 0.98, 1.0, 0.94, 0.76, 0.45),
    (0.5, 0.58, 0.68, 0.8, 0.92, 1.0, 1.0, 0.7),
    (0.55, 0.6, 0.66, 0.74, 0.85, 0.88, 0.7, 0.35),
)

KINDS: dict[str, Ranges] = {
    "aphid": Ranges(
        length_mm=(0.8, 2.6), aspect=(0.42, 0.7), profiles=_PEAR, ends=((0.08, 0.16), (0.1, 0.3)),
        segments=(7, 11), scallop=(0, 0.05), turns=(0.05, 1.1), bowed=0.25,
        palette=(GREEN, LIME, OLIVE, BROWN, BLACK, GREY, RED, WHITE, LIME, YELLOW, PINK), opacity=(0.35, 0.99),
        patterns={"bands": 0.3, "rings": 0.45, "spots": 0.2, "mottling": 0.35, "gut": 0.35, "embryos": 0.45,
                  "core": 0.4, "rim": 0.3, "fat": 0.2, "slope": 0.3, "grains": 0.25, "streaks": 0.1},
        legs=Limbs(3, (0.18, 0.46), (0.45, 1.0), (0.016, 0.045), (3, 4)),
        feelers=(0.4, 1.15), tubes=0.8, winged=0.13, wing="broad", eyes=0.75,
    ),
    "thrips": Ranges(
        length_mm=(0.5, 1.6), aspect=(0.15, 0.23),
        profiles=((0.5, 0.62, 0.55, 0.85, 0.95, 0.9, 1.0, 0.98, 0.85, 0.6, 0.25),
                  (0.45, 0.55, 0.6, 0.8, 0.88, 0.95, 1.0, 0.95, 0.8, 0.5, 0.18),
                  (0.6, 0.7, 0.6, 1.0, 1.0, 0.9, 0.92, 0.9, 0.8, 0.6, 0.3)),
        ends=((0.03, 0.06), (0.05, 0.12)), segments=(9, 13), scallop=(0.02, 0.12), turns=(0.05, 0.9), bowed=0.25,
        palette=(YELLOW, BROWN, BLACK, TAN, CREAM, AMBER), opacity=(0.4, 0.99),
        patterns={"bands": 0.35, "rings": 0.6, "gut": 0.4, "core": 0.2, "slope": 0.35, "rim": 0.2, "mottling": 0.2},
        legs=Limbs(3, (0.2, 0.46), (0.16, 0.32), (0.015, 0.032), (2, 3)),
        feelers=(0.16, 0.28), feeler_mm=(0.018, 0.032), winged=0.65, wing="fringed", eyes=0.85,
        sides=(0.68, 0.16, 0.16),
    ),
    "caterpillar": Ranges(
        length_mm=(2, 12), aspect=(0.1, 0.2),
        profiles=((0.75, 0.85, 0.93, 1, 1, 1, 1, 0.95, 0.85, 0.62), (0.6, 0.72, 0.85, 0.95, 1, 1, 0.97, 0.9, 0.8, 0.6),
                  (0.9, 0.95, 0.95, 0.97, 1, 1, 1, 0.98, 0.92, 0.8)),
        ends=((0.03, 0.06), (0.03, 0.07)), segments=(11, 14), scallop=(0.03, 0.16), turns=(0.1, 4.8), bowed=0.72,
        palette=(GREEN, LIME, CREAM, BROWN, TAN, WHITE, OLIVE, LIME), opacity=(0.25, 0.98),
        patterns={"rings": 0.75, "bands": 0.25, "streaks": 0.5, "gut": 0.6, "spots": 0.45, "fat": 0.3,
                  "mottling": 0.35, "rim": 0.2, "slope": 0.25, "grains": 0.2, "net": 0.15},
        legs=Limbs(3, (0.1, 0.24), (0.05, 0.085), (0.05, 0.12), (2, 3)),
        feelers=(0.015, 0.03), stubs=0.85, cap=0.95, cap_share=(0.05, 0.1), hairs=0.45, sides=(0.3, 0.6, 0.1),
    ),
    "larva": Ranges(
        length_mm=(0.4, 1.6), aspect=(0.18, 0.36),
        profiles=((0.28, 0.45, 0.65, 0.82, 0.95, 1, 0.98, 0.8), (0.8, 0.9, 0.95, 1, 1, 1, 0.95, 0.75),
                  (0.5, 0.8, 1.0, 0.95, 0.9, 0.85, 0.75, 0.5)),
        ends=((0.04, 0.1), (0.05, 0.16)), segments=(9, 13), scallop=(0.02, 0.14), turns=(0.2, 3.6), bowed=0.7,
        palette=(CREAM, WHITE, WHITE, LIME, YELLOW, TAN, PINK), opacity=(0.2, 0.85),
        patterns={"rings": 0.7, "gut": 0.6, "core": 0.25, "fat": 0.35, "rim": 0.35, "bands": 0.15, "mottling": 0.2,
                  "slope": 0.2, "streaks": 0.15},
        legs=Limbs(3, (0.12, 0.28), (0.05, 0.1), (0.02, 0.04), (1, 2)),
        stubs=0.25, cap=0.85, cap_share=(0.05, 0.16), hairs=0.2, sides=(0.45, 0.45, 0.1),
    ),
    "mite": Ranges(
        length_mm=(0.2, 0.6), aspect=(0.58, 0.9),
        profiles=((0.45, 0.78, 0.98, 1, 0.95, 0.75), (0.4, 0.65, 0.9, 1, 1, 0.85), (0.55, 0.9, 1, 0.92, 0.82, 0.6)),
        ends=((0.12, 0.25), (0.2, 0.45)), segments=(1, 3), scallop=(0, 0.03), turns=(0.02, 0.3), bowed=0.1,
        palette=(RED, TAN, CREAM, AMBER, LIME, BROWN, WHITE), opacity=(0.35, 0.97),
        patterns={"pairs": 0.55, "core": 0.4, "spots": 0.25, "rim": 0.25, "mottling": 0.25, "slope": 0.25},
        legs=Limbs(4, (0.12, 0.62), (0.5, 0.95), (0.016, 0.034), (3, 4), (-0.1, 0.5)), eyes=0.3, hairs=0.5,
        sides=(0.7, 0.12, 0.18),
    ),
    "gnat": Ranges(
        length_mm=(1, 3), aspect=(0.17, 0.3),
        profiles=((0.62, 0.7, 0.28, 0.85, 1.0, 0.9, 0.5, 0.62, 0.66, 0.62, 0.52, 0.4, 0.22),
                  (0.6, 0.62, 0.3, 1.0, 1.0, 0.72, 0.5, 0.5, 0.5, 0.46, 0.42, 0.36, 0.25),
                  (0.55, 0.66, 0.35, 0.8, 0.92, 0.85, 0.6, 0.85, 1.0, 0.95, 0.75, 0.5, 0.25)),
        ends=((0.05, 0.09), (0.03, 0.1)), segments=(9, 13), scallop=(0.02, 0.1), turns=(0.1, 1.4), bowed=0.55,
        palette=(BLACK, BROWN, GREY, TAN, OLIVE, YELLOW), opacity=(0.6, 0.99),
        patterns={"bands": 0.5, "rings": 0.5, "slope": 0.4, "gut": 0.25, "core": 0.2, "mottling": 0.2, "streaks": 0.2},
        legs=Limbs(3, (0.27, 0.44), (0.8, 1.6), (0.016, 0.036), (3, 4), (-0.5, 0.9)),
        feelers=(0.2, 0.55), feeler_mm=(0.014, 0.026), plumed=0.35, winged=0.92, wing="veined", cap=0.7,
        cap_share=(0.1, 0.15), eyes=0.5, hairs=0.35, sides=(0.42, 0.46, 0.12),
    ),
    "skin": Ranges(
        length_mm=(0.7, 2.2), aspect=(0.35, 0.65), profiles=_PEAR, ends=((0.06, 0.14), (0.08, 0.25)),
        segments=(7, 11), scallop=(0.02, 0.12), turns=(0.1, 1.4), bowed=0.45,
        palette=(WHITE, CREAM, GREY, WHITE, TAN), opacity=(0.1, 0.34),
        patterns={"net": 0.85, "rim": 0.8, "rings": 0.6, "mottling": 0.3, "bands": 0.15, "streaks": 0.35},
        legs=Limbs(3, (0.18, 0.46), (0.4, 0.85), (0.018, 0.045), (3, 4)),
        feelers=(0.3, 0.9), tubes=0.6, eyes=0.2, hairs=0.1,
    ),
}  # fmt: skip
