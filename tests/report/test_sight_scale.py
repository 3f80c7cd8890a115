"""The sight scale on paper: rasterised as a printer does, and measured."""

from __future__ import annotations

import io

import numpy as np
import pypdfium2
import pytest

from groupscan.errors import RigError
from groupscan.report.sight_scale import CHECK_BAR_MM, range_card_pdf, scale_page, sight_scale_pdf

DPI = 300
MM_PER_PX = 25.4 / DPI
MARKS = [-1.5, 0.0, 3.72, 8.05, 13.4, 19.111, 25.9]
LABELS = ["15", "20", "30", "40", "50", "60", "70"]


def darkness(data: bytes, page: int = 0) -> np.ndarray:
    """Return a page at 300 dpi: 0 is paper, 1 is ink."""
    with pypdfium2.PdfDocument(io.BytesIO(data)) as document:
        picture = document[page].render(scale=DPI / 72, grayscale=True).to_numpy()
    return 1 - picture.reshape(picture.shape[0], -1) / 255


def centres_mm(profile: np.ndarray) -> list[float]:
    """Return the middle of each run of ink in a profile, weighted by ink, mm from its start."""
    ink = np.concatenate([[0], profile > 0.02, [0]])
    begin, end = np.flatnonzero(np.diff(ink) == 1), np.flatnonzero(np.diff(ink) == -1)
    places = np.arange(len(profile)) + 0.5
    return [
        float((profile[a:b] * places[a:b]).sum() / profile[a:b].sum()) * MM_PER_PX
        for a, b in zip(begin, end, strict=True)
    ]


def column(ink: np.ndarray, left_mm: float, right_mm: float, top_mm: float, bottom_mm: float):
    rows = slice(round(top_mm / MM_PER_PX), round(bottom_mm / MM_PER_PX))
    return ink[rows, round(left_mm / MM_PER_PX) : round(right_mm / MM_PER_PX)]


@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_marks_stand_within_a_tenth_of_a_millimetre(paper):
    page = scale_page(MARKS, LABELS, paper=paper)
    ink = darkness(sight_scale_pdf(MARKS, LABELS, title="Heron", paper=paper))
    assert ink.shape[1] * MM_PER_PX == pytest.approx(page.size_mm[0], abs=0.2)
    tall = 30.0
    found = []
    for side in (-1, 1):  # fives stand to the left of the middle line, tens to the right
        inner, outer = page.middle_mm + side * 3, page.middle_mm + side * 7
        strip = column(
            ink, min(inner, outer), max(inner, outer),
            page.reference_y_mm - 3, page.reference_y_mm - 3 + tall,
        )  # fmt: skip
        top = round((page.reference_y_mm - 3) / MM_PER_PX) * MM_PER_PX
        found += [top + y for y in centres_mm(strip.mean(axis=1))]
    found.sort()
    reference = found[MARKS.index(0.0)]
    np.testing.assert_allclose(np.array(found) - reference, MARKS, atol=0.1)
    np.testing.assert_allclose(found, page.mark_y_mm, atol=0.1)


def test_check_bar_is_a_hundred_millimetres_between_its_ticks():
    page = scale_page(MARKS, LABELS)
    ink = darkness(sight_scale_pdf(MARKS, LABELS, title="Heron"))
    left, right, y = page.bar_mm
    ends = column(ink, left - 3, right + 3, y - 1.8, y - 0.6)  # above the bar, through the ticks
    first, last = centres_mm(ends.mean(axis=0))
    assert last - first == pytest.approx(CHECK_BAR_MM, abs=0.1)


def test_the_same_scale_has_the_same_bytes_and_asks_for_no_scaling():
    data = sight_scale_pdf(MARKS, LABELS, title="Heron")
    assert data == sight_scale_pdf(MARKS, LABELS, title="Heron")
    assert b"/PrintScaling /None" in data


def test_crowded_labels_leave_out_the_less_round_and_keep_every_mark():
    marks = np.linspace(0, 12, 61)
    labels = [str(20 + i) for i in range(61)]
    page = scale_page(marks, labels)
    assert page.mark_y_mm.size == 61
    told = {label: base for label, _, base in page.labels}
    assert {"20", "40", "60", "80"} <= set(told)
    for round_one in (True, False):
        bases = sorted(b for label, b in told.items() if (int(label) % 10 == 0) == round_one)
        assert min(np.diff(bases)) >= 2.8 - 1e-9


@pytest.mark.parametrize(
    ("marks", "labels", "said"),
    [
        ([], [], "1 to 400 marks"),
        ([0.0, 1.0], ["20"], "a label for each"),
        ([0.0, np.nan], ["20", "30"], "not finite"),
        ([0.0, 400.0], ["20", "30"], "has room for"),
    ],
)
def test_a_scale_that_cannot_be_printed_says_why(marks, labels, said):
    with pytest.raises(RigError, match=said):
        scale_page(marks, labels)


def test_a_card_is_on_as_many_pages_as_it_needs_with_its_head_on_each():
    rows = [[str(i), f"{i / 3:.2f}"] for i in range(100)]
    data = range_card_pdf(["distance\nyd", "drop\nin"], rows, title="Heron <b>\n\x00 & co")
    with pypdfium2.PdfDocument(io.BytesIO(data)) as document:
        texts = [page.get_textpage().get_text_bounded() for page in document]
    assert len(texts) > 1
    assert all("distance" in text and "drop" in text for text in texts)
    assert "33.00" in texts[-1]
    assert "Heron <b>" in texts[0]
    with pytest.raises(RigError, match="a cell under each head"):
        range_card_pdf(["a", "b"], [["1"]], title="x")
