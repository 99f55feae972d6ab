"""Cut cauliflower florets on a white ground, seen from above: reflectance, coverage, shadow, and where the knobs are.

Pieces are grown in millimetres (cauliflower_growth), seen as a height field (florets_raster), coloured (cauliflower_colour) and
lit (florets_light). White tissue scatters light inside itself and passes it on from wall to wall of its cracks: both are worked
out here. Deterministic for one state of the random generator.
"""

from __future__ import annotations

import cv2
import numpy as np

from vision.render.broccoli import ProduceLayer
from vision.render.cauliflower_colour import draw_palettes
from vision.render.cauliflower_laying import lay_pieces
from vision.render.cauliflower_paint import Paint, painted
from vision.render.cauliflower_solids import knob_places, modelled, raised
from vision.render.florets_colour import Grain
from vision.render.florets_light import Lighting, light_up, rounded_joints
from vision.render.florets_raster import Relief
from vision.types import FloatArray

VIEWS = ("top", "opened")


def draw_cauliflower(
    rng: np.random.Generator,
    height_px: int,
    width_px: int,
    px_per_mm: float,
    *,
    view: str,
    heated: bool,
    pieces: int | None = None,
    apart_mm: float | None = None,
    touching: int = 0,
    light_direction: tuple[float, float] = (-0.5, -0.7),
    specular: float = 0.05,
) -> ProduceLayer:
    """Draw cut cauliflower florets, each at most about 76 by 38 mm (common practice, no source).

    `view` is "top" (curd up) or "opened" (on their sides, spread or cut in half); `heated` makes them yellow-grey, translucent
    and wet. The other arguments are those of `broccoli.draw_florets`; `bud_places` of the layer are the knobs that can be seen.
    Raises ValueError for another view.
    """
    if view not in VIEWS:
        raise ValueError(f"view must be one of {VIEWS}, not {view!r}")
    relief = Relief.empty(height_px, width_px, px_per_mm)
    grain = Grain(rng)
    laid = lay_pieces(rng, (width_px / px_per_mm, height_px / px_per_mm), view, pieces, apart_mm, touching)
    if not laid:
        bare = np.zeros((height_px, width_px), np.float32)
        nothing = Paint(np.zeros((height_px, width_px, 3), np.float32), bare, bare, bare)
        return _developed(relief, nothing, np.zeros((0, 3), np.float32), heated, light_direction, specular)
    model = modelled(rng, laid, px_per_mm)
    plan = raised(relief, model)
    paint = painted(rng, relief, plan, model, draw_palettes(rng, len(laid), heated=heated), grain)
    return _developed(relief, paint, knob_places(relief, model), heated, light_direction, specular)


def _developed(
    relief: Relief,
    paint: Paint,
    knobs_seen: FloatArray,
    heated: bool,
    light_direction: tuple[float, float],
    specular: float,
) -> ProduceLayer:
    """Light and soften what the relief holds."""
    height = rounded_joints(relief.height_mm, paint.joined, relief.px_per_mm)
    covered = (relief.owner > 0).astype(np.float32)
    if heated:
        height = _filmed(height, covered, relief.px_per_mm)
    light = light_up(height, paint.bump_mm, relief.px_per_mm, light_direction)
    alpha = np.asarray(cv2.GaussianBlur(covered, (0, 0), 0.55), dtype=np.float32)
    reflected = _reflected(paint, light, covered, relief.px_per_mm, heated, specular)
    reflectance = cv2.GaussianBlur(reflected * covered[..., None], (0, 0), 0.55) / np.maximum(alpha, 1e-3)[..., None]
    # The coarse grids of the light draw a dark seam along outlines: there the ground's light is that a little further out.
    seam = max(3, round(0.25 * relief.px_per_mm))
    beside = cv2.dilate(covered, np.ones((2 * seam + 1,) * 2, np.uint8))
    far, near = (_mean_where(light.shade, 1.0 - mask, sigma) for mask, sigma in ((beside, 0.7 * seam), (covered, 2.0)))
    smooth = np.where(np.isnan(far), np.where(np.isnan(near), 0.3, near), far)
    ground_shadow = np.where(beside > 0, smooth, light.shade)
    return ProduceLayer(
        reflectance=np.clip(reflectance, 0.0, 1.45).astype(np.float32),
        alpha=np.clip(alpha, 0.0, 1.0),
        ground_shadow=np.clip(ground_shadow, 0.0, 1.0).astype(np.float32),
        depth_mm=height,
        shade=light.shade.astype(np.float32),
        bud_places=knobs_seen,
    )


def _spread(picture: FloatArray, sigma_px: float) -> FloatArray:
    """A blur of about `sigma_px` by two running means, whose cost does not grow with the width."""
    # Two boxes of side n have the variance (n^2 - 1) / 6.
    side = 2 * round((np.sqrt(6.0 * sigma_px**2 + 1.0) - 1.0) / 2.0) + 1
    return np.asarray(cv2.blur(cv2.blur(picture, (side, side)), (side, side)), np.float32)


def _mean_where(picture: FloatArray, weight: FloatArray, sigma_px: float) -> FloatArray:
    """Mean round each place over where `weight` is 1; not a number where there is none near."""
    total = _spread(weight, sigma_px)
    mean = _spread(picture * weight, sigma_px) / np.maximum(total, 1e-3)
    return np.where(total > 1e-3, mean, np.nan).astype(np.float32)


def _filmed(height: FloatArray, covered: FloatArray, px_per_mm: float) -> FloatArray:
    """Height with the valleys between granules filled by soft tissue and water."""
    sigma = 0.16 * px_per_mm
    mean = _spread(height * covered, sigma) / np.maximum(_spread(covered, sigma), 1e-3)
    rise = np.clip(mean - height, -0.1, 0.12) * covered
    return np.asarray(height + 0.6 * rise, dtype=np.float32)


def _reflected(
    paint: Paint, light: Lighting, covered: FloatArray, px_per_mm: float, heated: bool, specular: float
) -> FloatArray:
    """Light sent back (h, w, 3): scattered inside the tissue, passed on between the walls of cracks, and shine.

    A hole whose walls see the share s of the sky sends back a s / (1 - a (1 - s)) of it (a: reflectance of the walls).
    """
    hidden = 1.0 - np.clip(light.sky, 0.06, 1.0)
    ambient = np.float32(0.42) * light.sky
    powers = [light.glint]
    for _ in range(9):
        powers.append(powers[-1] * powers[-1])
    shine = powers[4] + 1.2 * powers[6] + 6.0 * paint.gloss * powers[9]
    sheen = np.float32(specular) * light.direct * light.sky * paint.gloss * shine
    planes = []
    scattered = _scattered(light.shade * covered, covered, px_per_mm, heated)
    for plane, own in zip(cv2.split(paint.albedo), scattered, strict=True):
        passed_on = plane * hidden
        own += ambient * (passed_on / (1.0 - passed_on))
        own *= plane
        planes.append(own + sheen)
    return np.asarray(cv2.merge(planes), dtype=np.float32)


def _scattered(shade: FloatArray, covered: FloatArray, px_per_mm: float, heated: bool) -> list[FloatArray]:
    """Illumination (h, w) for red, green and blue after light has wandered through the tissue: farthest for red, least for blue."""
    reach = 1.7 if heated else 1.0
    wide: list[FloatArray] = []
    for radius_mm in (0.16, 0.6):
        sigma = radius_mm * reach * px_per_mm
        mean = _spread(shade, sigma) / np.maximum(_spread(covered, sigma), 1e-3)
        wide.append(np.asarray(mean, np.float32))
    shares = ((0.42, 0.26), (0.4, 0.22), (0.36, 0.14))
    near_by, far_off = (blurred - shade for blurred in wide)
    return [np.asarray(shade + near * near_by + far * far_off, np.float32) for near, far in shares]
