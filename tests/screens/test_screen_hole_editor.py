import io
import math

import numpy as np
import pytest
from PIL import Image

from groupscan.screens.hole_editor import data_uri, edit_from_state, preview_jpeg

POINT = {"id": "a1", "x": 1.0, "y": 2.0, "head": "", "arrow": "", "removed": False}


def edit(**changes):
    return {"image_id": "p", "rev": 3, "points": [POINT], "aim": {"x": 5, "y": 6}, **changes}


def test_a_good_edit_is_read():
    read = edit_from_state(edit())
    assert (read.image_id, read.rev, read.aim) == ("p", 3, (5.0, 6.0))
    assert (read.points[0].x, read.points[0].y) == (1.0, 2.0)


@pytest.mark.parametrize(
    "bad",
    [
        None,
        "text",
        [],
        {},
        edit(points=None),
        edit(points=[{"id": "a1", "x": "far", "y": 2}]),
        edit(points=[{**POINT, "x": math.nan}]),
        edit(points=[{**POINT, "y": math.inf}]),
        edit(points=[{**POINT, "x": 1e9}]),
        edit(rev="new"),
        edit(aim={"x": 1}),
        edit(aim=7),
    ],
)
def test_what_makes_no_sense_is_no_edit(bad):
    assert edit_from_state(bad) is None


def test_text_from_the_page_is_cut_to_length():
    long = edit_from_state(edit(points=[{**POINT, "head": "x" * 999, "arrow": " 7 "}]))
    assert len(long.points[0].head) == 40
    assert long.points[0].arrow == "7"


def test_the_preview_is_smaller_and_says_nothing_about_the_phone():
    photo = np.random.default_rng(1).integers(0, 255, (90, 120, 3), np.uint8)
    with Image.open(io.BytesIO(preview_jpeg(photo, longest_px=60))) as small:
        assert small.size == (60, 45)
        assert not small.getexif()
    assert data_uri(b"\xff\xd8").startswith("data:image/jpeg;base64,/9g")


def test_why_a_hole_is_a_flyer_is_kept_only_while_it_is_one():
    flyer = edit_from_state(edit(points=[{**POINT, "flyer": True, "why": " gust " + "x" * 999}]))
    assert flyer.points[0].flyer
    assert flyer.points[0].why.startswith("gust")
    assert len(flyer.points[0].why) == 120
    none = edit_from_state(edit(points=[{**POINT, "flyer": False, "why": "gust"}]))
    assert (none.points[0].flyer, none.points[0].why) == (False, "")
