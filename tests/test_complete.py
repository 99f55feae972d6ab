"""Whether all of a picture file is there: cut anywhere, with room kept for what is missing, damaged, or no picture at all."""

from __future__ import annotations

import io

import numpy as np
import pytest
from arriving import KINDS, picture
from PIL import Image
from written_pictures import saved, tiff

from vision.complete import Complete, completeness
from vision.decode import decode_shot

ROOM = 4096


@pytest.mark.parametrize("ending", KINDS)
class TestEachKind:
    def test_whole_is_whole(self, ending: str) -> None:
        assert decode_shot(picture(ending), f"a.{ending}").pixels.shape == (64, 64, 3)
        assert completeness(picture(ending)) is Complete.YES

    def test_cut_anywhere_is_never_taken_for_whole(self, ending: str) -> None:
        data = picture(ending, side=32)
        found = [completeness(data[:end]) for end in range(len(data))]
        assert Complete.YES not in found
        # A list of further pictures, and what a directory says beside its pixels, may be stale in a whole file.
        sure = data.index(b"\xff\xd9\xff\xd8") if ending == "mpo.jpg" else len(data) - 64
        assert set(found[:sure]) == {Complete.NO}

    def test_with_room_kept_for_the_rest_is_never_taken_for_whole(self, ending: str) -> None:
        data = picture(ending, side=128)
        for filled in range(0, len(data) - 64, 97):
            kept = data[:filled] + bytes(len(data) - filled)
            assert completeness(kept) is not Complete.YES, filled

    def test_filled_in_another_order_is_never_taken_for_whole(self, ending: str) -> None:
        data = picture(ending, side=256)
        whole = 0
        for start in range(0, len(data) - ROOM, 2 * ROOM + 999):
            hole = data[:start] + bytes(2 * ROOM) + data[start + 2 * ROOM :]
            whole += completeness(hole[: len(data)]) is Complete.YES
        assert whole == 0


class TestWhatIsNotWaitedFor:
    @pytest.mark.parametrize("data", [b"bad" * 30, b"GIF89a" + b"x" * 90, b"BM" + b"x" * 90, b"\xff" * 100])
    def test_no_picture_of_a_kind_that_is_read(self, data: bytes) -> None:
        assert completeness(data) is Complete.YES

    def test_a_jpeg_that_is_damaged(self) -> None:
        data = picture("jpg")
        assert completeness(data[:200] + b"\x55" * 200 + data[400:]) is Complete.YES

    def test_what_a_camera_or_a_program_adds_behind_the_picture(self) -> None:
        assert completeness(picture("jpg") + bytes(5000)) is Complete.YES
        assert completeness(picture("jpg") + b"\0\0\0\x18ftypmp42" * 50) is Complete.YES
        assert completeness(picture("png") + b"more") is Complete.YES


class TestWhatCanNotBeTold:
    def test_one_colour_may_be_coded_as_zeros(self) -> None:
        """libjpeg's own optimised codes give the most frequent one zeros alone (ITU-T T.81, K.2)."""
        white = saved(Image.new("RGB", (2000, 2000), "white"), "JPEG", optimize=True)
        assert bytes(ROOM) in white
        assert completeness(white) is Complete.UNSURE

    def test_black_that_is_not_compressed_is_zeros(self) -> None:
        assert completeness(tiff(np.zeros((100, 100, 3), np.uint8))) is Complete.UNSURE

    def test_a_list_of_further_pictures_that_a_program_has_dropped(self) -> None:
        both = picture("mpo.jpg")
        first = both[: both.index(b"\xff\xd9\xff\xd8") + 2]
        assert decode_shot(first, "a.jpg").pixels.shape == (64, 64, 3)
        assert completeness(first) is Complete.UNSURE


class TestTiffDialects:
    @pytest.mark.parametrize("how", [{"bigtiff": True}, {"byteorder": ">"}, {"tile": (32, 32)}, {"rowsperstrip": 8}])
    def test_cut_anywhere_is_never_taken_for_whole(self, how: dict[str, object]) -> None:
        pixels = np.random.default_rng(1).integers(1, 256, (64, 64, 3), dtype=np.uint8)
        data = tiff(pixels, **how)
        assert completeness(data) is Complete.YES
        assert {completeness(data[:end]) for end in range(0, len(data), 13)} == {Complete.NO}

    def test_a_directory_that_is_entered_last(self) -> None:
        """libtiff writes the directory's place into the head when all else is there."""
        buffer = io.BytesIO()
        Image.fromarray(np.full((20, 20, 3), 7, np.uint8)).save(buffer, "TIFF", compression="tiff_lzw")
        data = buffer.getvalue()
        assert completeness(data) is not Complete.NO
        assert completeness(data[:4] + bytes(4) + data[8:]) is Complete.NO
