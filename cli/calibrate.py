"""Making a panel's profile from photographs of the empty panel and of the slip, and comparing one with later blanks."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from cli.entry import warn_of_two_opencvs
from cli.exits import ALL_DONE, SOME_SHOTS_FAILED
from cli.options import check_px_per_mm
from cli.words import count, printable
from vision.errors import CallError, ShotError

if TYPE_CHECKING:
    from calib.panel import PanelMeasurement
    from calib.profile import Profile
    from vision.types import Shot


def calibrate_call(
    blanks: Sequence[Path], out: Path | None, px_per_mm: float | None = None, slips: Sequence[Path] = ()
) -> int:
    """Writes the profile of the panel that `blanks` show, its map, and pictures of its light and doubtful marks; the exit code.

    Raises CallError where a shot can't be read, ProfileError where they do not show an empty panel or the slip; nothing is
    written then.
    """
    check_px_per_mm(px_per_mm)
    if out is None:
        raise CallError("Say where to write the profile: --out FILE.")
    if not out.parent.is_dir():
        raise CallError(f"The folder {out.parent} is not there.")
    warn_of_two_opencvs()
    from calib.panel import measure_panel
    from calib.panel_picture import light_picture
    from calib.panel_report import calibration_lines, mark_crops
    from calib.profile import write_profile
    from calib.set_up_words import set_up_lines
    from vision.files import write_picture

    shots = [_read(path) for path in blanks]
    measured = measure_panel(shots, px_per_mm)
    profile, said = _profile(measured, [_read(path) for path in slips], out)
    crops = mark_crops(shots[0], profile.marks, profile.px_per_mm)
    pictures = {out.with_name(f"{out.stem}-light.jpg"): light_picture(profile)}
    crops_path = out.with_name(f"{out.stem}-marks.jpg")
    if crops.size:
        pictures[crops_path] = crops
    for path, picture in pictures.items():
        write_picture(path, picture)
    written = write_profile(profile, out)
    for line in (
        *calibration_lines(profile, measured, out.name, crops_path.name),
        *said,
        *set_up_lines(profile, measured),
    ):
        print(line)
    for path in (*written, *pictures):
        print(f"Written: {path}")
    return ALL_DONE


def _profile(measured: PanelMeasurement, slips: Sequence[Shot], out: Path) -> tuple[Profile, tuple[str, ...]]:
    """The profile with all that is known of its stand, and what the slip shots leave to say."""
    from calib.profile import carry_answers, load_profile, profile_of
    from calib.set_up import measure_set_up, with_set_up

    profile, said = profile_of(measured, datetime.now(UTC)), ()
    if slips:
        set_up = measure_set_up(slips)
        own = (measured.even_light.width_px, measured.even_light.height_px)
        if own != (slips[0].width_px, slips[0].height_px):
            raise CallError(
                f"The slip shots are of another size than the blanks, {own[0]} x {own[1]}: same camera, same stand."
            )
        profile, said = with_set_up(profile, set_up), set_up.words
    if out.exists():
        # A person's answers outlive the profile they were given in; a file that is no profile is not written over.
        profile = carry_answers(load_profile(out), profile)
    return profile, said


def check_call(profile_path: Path, blanks: Sequence[Path], out: Path | None = None) -> int:
    """Compares blanks with a profile, says how it holds and draws it over time; exit code 1 where it does not hold."""
    warn_of_two_opencvs()
    from calib.drift import measure_drift
    from calib.panel_picture import time_picture
    from calib.profile import load_profile
    from vision.files import write_picture

    if not profile_path.is_file():
        raise CallError(f"--check: there is no file {profile_path}.")
    target = out or profile_path.with_name(f"{profile_path.stem}-check.jpg")
    if not target.parent.is_dir():
        raise CallError(f"The folder {target.parent} is not there.")
    if target.suffix.lower() not in {".jpg", ".jpeg"}:
        raise CallError("With --check, --out is the picture to write: a .jpg.")
    profile = load_profile(profile_path)
    shots = sorted((_read(path) for path in blanks), key=lambda shot: (shot.taken_at or "", shot.name))
    drifts = [measure_drift(profile, shot) for shot in shots]
    for shot, drift in zip(shots, drifts, strict=True):
        print(f"{printable(shot.name)}: {drift.text or 'nothing to compare'}")
        for sentence in drift.words:
            print(f"  {sentence}")
    write_picture(target, time_picture([printable(shot.name) for shot in shots], drifts))
    failing = sum(not drift.holds for drift in drifts)
    said = f"does not hold for {failing} of {count(len(drifts), 'shot')}" if failing else "holds"
    print(f"The profile {profile_path.name} {said}.")
    print(f"Written: {target}")
    return SOME_SHOTS_FAILED if failing else ALL_DONE


def _read(path: Path) -> Shot:
    from vision.decode import decode_shot
    from vision.files import read_bytes

    try:
        return decode_shot(read_bytes(path), path.name)
    except ShotError as error:
        raise CallError(f"{path}: {error}") from error
