"""More than one sheet in view, or another than the one named: it is said."""

import numpy as np
import pytest

from groupscan.photo.marks import paper, rings
from groupscan.photo.reading import Photo
from groupscan.photo.scan import scan_photo
from groupscan.sheets.catalogue import get_sheet
from tests.photo.drawn_sheets import Paper, camera_at, photograph
from tests.photo.sheet_pictures import View, blank
from tests.photo.sheet_pictures import photograph as lay

LETTER = (215.9, 279.4)


def papers(*asides: float) -> Photo:
    """Blank Letter sheets side by side on straw."""
    rgb = None
    for aside in asides:
        view = View((1500, 1000), 1000.0, 10, 40, 2, away_mm=520, aside_mm=(aside, 0.0))
        ground = None if rgb is None else (rgb / 255.0) ** 2.2
        rgb = lay(blank(LETTER), LETTER, view, ground=ground, noise=1.0)
    assert rgb is not None
    return Photo("papers", rgb)


def test_two_papers_are_said_to_be_in_view() -> None:
    marks = paper.find(papers(-150.0, 150.0))
    assert marks is not None
    assert any("lies beside" in note for note in marks.notes)


def test_one_paper_is_not_said_to_be_two() -> None:
    marks = paper.find(papers(-100.0))
    assert marks is not None
    assert not any("beside" in note for note in marks.notes)


def test_a_paper_beside_a_face_is_said() -> None:
    face = get_sheet("ring-40")
    near = camera_at(430, size=(1500, 1000), fill=0.85, shift_px=(-310, 0))
    view = View((1500, 1000), 1000.0, 4, 40, 2, away_mm=560, aside_mm=(260.0, 0.0))
    behind = lay(blank(LETTER), LETTER, view, noise=1.0).astype(np.float32)
    photo = photograph(Paper(face), near, behind=behind)
    marks = rings.find(photo, sheet=face)
    assert marks is not None
    assert any("lies beside" in note for note in marks.notes)
    alone = rings.find(photograph(Paper(face), near), sheet=face)
    assert alone is not None
    assert not any("beside" in note for note in alone.notes)


@pytest.mark.parametrize(("seen", "named"), [("ring-80", "ring-40"), ("ring-40", "ring-122")])
def test_a_face_whose_margin_is_anothers_is_doubted(seen, named) -> None:
    sheet = get_sheet(seen)
    camera = camera_at(sheet.width_mm, tilt_deg=8, axis_deg=30)
    photo = photograph(Paper(sheet, px_per_mm=1600 / sheet.width_mm), camera)
    wrong = rings.find(photo, sheet=get_sheet(named))
    right = rings.find(photo, sheet=sheet)
    assert wrong is not None
    assert right is not None
    assert any(f"that of {seen} rather than of {named}" in note for note in wrong.notes)
    assert not any("rather than" in note for note in right.notes)


def test_what_was_shot_before_tells_faces_apart_where_no_margin_does() -> None:
    face = get_sheet("ring-60")
    # The paper's edges lie outside the photo, and there is no hole.
    camera = camera_at(face.width_mm, fill=1.07, size=(1000, 1000))
    photo = photograph(Paper(face, px_per_mm=2.5), camera)
    scan = scan_photo(photo, likely="ring-60")
    assert scan.sheet == "ring-60"
    assert any("what was shot before" in warning for warning in scan.warnings)
