"""The texts in the strip's code."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.slip.draw import piece_bitmap
from calib.slip.layout import strip
from calib.slip.text import code_modules, from_line_text, read_code, to_line_text
from calib.slip.view import SlipText

words = st.text(st.characters(codec="utf-8"), max_size=12)


@given(words, words, words, words)
def test_what_is_written_is_read_back(lot: str, sample: str, produce: str, piece: str) -> None:
    text = SlipText(*("".join(c for c in each if c.isprintable()).strip() for each in (lot, sample, produce, piece)))
    # Twelve characters each can be too many bytes only where each takes several.
    if sum(len(each.encode()) for each in (lot, sample, produce, piece)) <= 90:
        assert from_line_text(to_line_text(text)) == text


@given(st.text())
def test_any_other_words_are_no_fault(whole: str) -> None:
    found = from_line_text(whole)
    assert found is None or whole.startswith("speckwise 1")


def test_too_long_a_text_is_refused_in_a_sentence() -> None:
    with pytest.raises(ValueError, match="The lot has 41 characters; the slip has room for 40"):
        to_line_text(SlipText(lot="x" * 41))
    with pytest.raises(ValueError, match="too long together"):
        to_line_text(SlipText("ש" * 40, "ש" * 40))


def test_a_line_of_a_later_slip_is_passed_over() -> None:
    assert from_line_text("speckwise 1\nZ=7\nL=a=b") == SlipText(lot="a=b")
    assert from_line_text("speckwise 2\nL=a") is None
    assert from_line_text("https://example.org") is None


def test_the_code_is_a_qr_code_others_can_read() -> None:
    text = SlipText("B-117", "3", "ברוקולי קפוא", "12")
    picture = np.kron(np.pad(~code_modules(text), 4, constant_values=True), np.ones((6, 6))).astype(np.uint8) * 255
    words, _, _ = cv2.QRCodeDetector().detectAndDecode(picture)
    assert from_line_text(words) == text


@settings(max_examples=8, deadline=None)
@given(st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn", "Zl", "Zp")), max_size=20))
def test_any_text_is_read_off_the_print(lot: str) -> None:
    text = SlipText(lot=lot.strip(), piece="1")
    try:
        light = piece_bitmap(strip(), 12, text).light
    except ValueError:
        return
    grey = (255 * light.mean(axis=2) ** 0.45).astype(np.uint8)
    to_px = np.array([[12, 0, -0.5], [0, 12, -0.5], [0, 0, 1.0]])
    place = strip().code_mm
    assert place is not None
    got, is_there = read_code(grey, to_px, place, from_behind=False)
    assert is_there
    assert got == SlipText(lot="".join(c if c.isprintable() else " " for c in text.lot).strip(), piece="1")


def test_no_code_where_there_are_lines_to_write_on() -> None:
    grey = (255 * piece_bitmap(strip(), 12).light.mean(axis=2)).astype(np.uint8)
    place = strip().code_mm
    assert place is not None
    assert read_code(grey, np.array([[12, 0, -0.5], [0, 12, -0.5], [0, 0, 1.0]]), place, False) == (None, False)
