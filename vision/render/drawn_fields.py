"""What a shot's recipe leaves open, drawn: a panel, a stand and a camera of modest or of wide variation."""

from __future__ import annotations

from typing import Any

import numpy as np

EXPOSED = {"broccoli": 1.2, "cauliflower": 1.1, "tray": 1.7}
"""How much longer than a panel each kind is exposed: lamps light it, and a dark tray is metered up (common practice, no source)."""


def _tint(rng: np.random.Generator, spread: float) -> tuple[float, float, float]:
    """A white that is off mostly between warm and cold, less between green and magenta; largest channel 1."""
    warm, green = rng.normal(0, spread), rng.normal(0, spread * 0.35)
    c = np.exp(np.array([warm, green, -1.2 * warm]) + rng.normal(0, spread * 0.12, 3))
    r, g, b = (c / c.max()).tolist()
    return r, g, b


def panel_fields(rng: np.random.Generator, wild: bool) -> dict[str, Any]:
    colour = _tint(rng, 0.22 if wild else 0.05)
    if wild and rng.random() < 0.06:
        # A strongly coloured lamp, as some stands have.
        colour = tuple(np.clip(rng.uniform(0.05, 1, 3), 0.05, 1).tolist())
    return {
        "panel_colour": colour,
        "unevenness": float(rng.uniform(0.02, 0.65) if wild else rng.uniform(0.08, 0.35)),
        "led_mottling": float(rng.choice([0, rng.uniform(0, 0.06)]) if wild else rng.uniform(0, 0.012)),
        "grain": float(rng.uniform(0, 0.012) if wild else rng.uniform(0.001, 0.004)),
        "marks": float(rng.uniform(0, 3) if wild else rng.uniform(0.5, 1.3)),
    }


def shot_fields(rng: np.random.Generator, wild: bool, kind: str) -> dict[str, Any]:
    vessels, odds = ("none", "straight", "round"), (0.6, 0.22, 0.18) if wild else (0.85, 0.1, 0.05)
    depth = float(rng.uniform(2, 20) if wild else rng.uniform(4, 9))
    return {
        "heated": bool(rng.random() < 0.5),
        "room_light": float(rng.uniform(0, 0.15) if wild else rng.uniform(0.004, 0.03)),
        "ripple": float(abs(rng.normal(0, 0.05)) if wild else abs(rng.normal(0, 0.007))),
        "film": float(abs(rng.normal(0, 0.05)) if wild else abs(rng.normal(0, 0.012))),
        "glare": float(rng.uniform(0.1, 1.2) if wild and rng.random() < 0.12 else 0.0),
        "water_colour": _tint(rng, 0.08 if wild else 0.015),
        "water_depth_mm": depth,
        "vessel_edge": str(rng.choice(vessels, p=odds)) if kind == "water" else "none",
        "view": _view(str(rng.choice(["underside", "opened"])), kind),
        "white_ground": float(rng.uniform(0.45, 0.95) if wild else rng.uniform(0.62, 0.88)),
        "light_angle_deg": float(rng.uniform(0, 360)),
        "light_gradient": float(rng.uniform(0, 0.6) if wild else rng.uniform(0.03, 0.2)),
        "specular": float(rng.uniform(0, 0.2) if wild else rng.uniform(0.02, 0.08)),
        "burnt_out": float(rng.uniform(0.2, 1.5) if wild and rng.random() < 0.15 else 0),
        "exposure": float(rng.uniform(0.25, 1.1) if wild else rng.uniform(0.6, 0.86)) * EXPOSED.get(kind, 1.0),
    }


def _view(drawn: str, kind: str) -> str:
    return "top" if kind == "cauliflower" and drawn == "underside" else drawn


def under_fields(rng: np.random.Generator, wild: bool) -> dict[str, Any]:
    """What lies under all: printed lines, and of what colour a tray is."""
    ruled, white = rng.random() < 0.25, rng.random() < 0.4
    density, reflectance = float(rng.uniform(0.03, 0.7)), float(rng.uniform(0.5, 0.85))
    return {"ruled": density if wild and ruled else 0.0, "tray_white": reflectance if wild and white else 0.0}


def cloth_fields(rng: np.random.Generator, wild: bool) -> dict[str, Any]:
    """Threads of 0.15 to 0.8 mm pitch, finer ones oftener; a third of the cloths are closer one way than the other."""
    pitch = float(np.exp(rng.uniform(np.log(0.15), np.log(0.8 if wild else 0.5))))
    uneven = rng.random() < 0.33
    ratio = float(np.exp(rng.uniform(np.log(0.6), np.log(1.7)))) if uneven else float(rng.uniform(0.97, 1.03))
    return {
        "weave_pitch_mm": pitch,
        "weave_ratio": float(np.clip(ratio * pitch, 0.15, 0.8)) / pitch,
        "weave_angle_deg": float(rng.uniform(0, 180) if wild or rng.random() < 0.5 else rng.normal(0, 6) % 180),
        "cloth_colour": str(rng.choice(["white", "dark"], p=(0.7, 0.3))),
        "cloth_lit": str(rng.choice(["below", "above", "both"], p=(0.55, 0.25, 0.2))),
    }


def camera_fields(rng: np.random.Generator, wild: bool, kind: str, depth_mm: float) -> dict[str, Any]:
    blurred = wild and rng.random() < 0.12
    gains = (
        (rng.uniform(1.2, 2.4), 1.0, rng.uniform(1.2, 2.4))
        if wild
        else (rng.uniform(1.6, 2.0), 1.0, rng.uniform(1.4, 1.8))
    )
    top = {"broccoli": 25.0, "cauliflower": 25.0, "cloth": 1.0, "tray": 2.0}.get(kind, depth_mm)
    return {
        "optics_blur_px": float(np.exp(rng.uniform(np.log(0.4), np.log(2.6))) if wild else rng.uniform(0.55, 0.95)),
        "edge_blur": float(rng.uniform(1, 2.2) if wild else rng.uniform(1.05, 1.4)),
        "defocus_px": float(rng.uniform(1, 6) if blurred else 0.0),
        "depth_blur_px_per_mm": float(abs(rng.normal(0, 0.35)) if wild else rng.uniform(0.02, 0.1))
        * (0.4 if kind in ("broccoli", "cauliflower") else 1.0),
        "focus_height_mm": float(rng.uniform(0, top) if wild else rng.uniform(0.1, 0.6) * top),
        "shake_px": float(rng.uniform(1, 6) if wild and rng.random() < 0.1 else 0.0),
        "flare": float(rng.uniform(0, 0.12) if wild else rng.uniform(0.004, 0.02)),
        "fringe_px": float(abs(rng.normal(0, 0.7)) if wild else rng.uniform(0, 0.25)),
        "full_well_e": float(np.exp(rng.uniform(np.log(400), np.log(40000))) if wild else rng.uniform(5000, 20000)),
        "read_noise_e": float(rng.uniform(1, 12) if wild else rng.uniform(2, 4)),
        "white_gain": tuple(float(g) for g in gains),
        "crosstalk": float(rng.uniform(0, 0.3) if wild else rng.uniform(0.08, 0.18)),
        "edge_aware": bool(rng.random() < 0.6),
        "denoise": float(rng.uniform(0, 1) if wild else rng.uniform(0.25, 0.6)),
        "sharpen": float(rng.choice([0, rng.uniform(0, 1.8)]) if wild else rng.uniform(0.2, 0.7)),
        "sharpen_radius_px": float(rng.uniform(0.6, 2.5) if wild else rng.uniform(0.8, 1.3)),
        "tone_curve": float(rng.choice([0, rng.uniform(0, 1)]) if wild else 0.0),
        "jpeg_quality": int(rng.integers(60, 98) if wild else rng.integers(88, 97)),
        "chroma_halved": bool(rng.random() < 0.8),
    }
