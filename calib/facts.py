"""What limits a shot without being anyone's fault: sentences that ask for nothing."""

from __future__ import annotations

import math

from calib.reading import Reading
from vision.geometry import reach_mm
from vision.guides.views import OVERVIEW_PX_PER_MM
from vision.sizes import MOST_LENGTH_ERROR
from vision.types import Inspection, ScaleFrom

_DARK_GROUND = 0.04
"""Linear light of the ground below which noise and rounding decide."""
_AT_LEAST_CY_MM = 4.0
"""MTF50 above which the print, not the camera, may be the softer of the two."""


def find_facts(inspection: Inspection, reading: Reading, needs_px_per_mm: float) -> tuple[str, ...]:
    """The sentences, the ones that concern sizes first."""
    said = [*_of_scale(inspection, reading, needs_px_per_mm), *_of_sharpness(inspection, reading)]
    if inspection.quality.panel_level < _DARK_GROUND:
        said.append("The ground is dark: specks paler than it are searched, dark ones may not show.")
    if inspection.searched_step > 1:
        said.append(f"A very large shot: searched at 1/{inspection.searched_step} of its resolution.")
    return (*said, *reading.facts)


def _of_scale(i: Inspection, reading: Reading, needs: float) -> list[str]:
    if i.px_per_mm is None:
        return ["No scale: sizes are not known; lay the slip in the shot, or give --px-per-mm or a profile."]
    said = []
    if i.px_per_mm < 0.98 * needs:
        what = "caterpillars and grown aphids" if i.px_per_mm >= 0.99 * OVERVIEW_PX_PER_MM else "large caterpillars"
        said.append(f"{i.px_per_mm:.1f} px/mm is an overview, for {what}.")
    unsized = sum(candidate.sizes is None for candidate in i.candidates)
    if unsized and reading.setup.ground_map is not None:
        reach = reach_mm(reading.setup.ground_map, MOST_LENGTH_ERROR / 2)
        source = "slip" if i.scale_from is ScaleFrom.SLIP else "profile"
        flags = "1 flag beyond has none" if unsized == 1 else f"{unsized} flags beyond have none"
        said.append(f"The {source} gives sizes to {math.floor(reach):.0f} mm from it; {flags}.")
    return said


def _of_sharpness(i: Inspection, reading: Reading) -> list[str]:
    sharp = reading.setup.sharpness
    if sharp is None:
        return []
    said = []
    honest = i.quality.sharpness_cy_px
    if i.px_per_mm is not None and sharp.from_slip and honest is not None:
        mtf10 = "" if sharp.mtf10_cy_px is None else f", MTF10 {sharp.mtf10_cy_px * i.px_per_mm:.1f}"
        least = "at least " if honest * i.px_per_mm > _AT_LEAST_CY_MM else ""
        said.append(
            f"Sharpness on the slip: MTF50 {least}{honest * i.px_per_mm:.1f}{mtf10} cycles/mm, camera and print together."
        )
    if sharp.sharpened:
        raised = (
            f" (MTF50 reads {sharp.mtf50_cy_px * i.px_per_mm:.1f} cycles/mm with it)" if i.px_per_mm is not None else ""
        )
        said.append(f"The camera sharpened the picture{raised}; what it could show rests on the blur underneath.")
    if not sharp.from_slip:
        said.append("Sharpness is an estimate from the shot's own edges.")
    return said
