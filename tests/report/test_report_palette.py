"""The palette against the published rules it claims to follow."""

import itertools

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000, rgb2lab

from groupscan.report.palette import DARK, LIGHT, ON_PHOTO, SYMBOLS, contrast_ratio, mix

# G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, "A Physiologically-based Model for Simulation
# of Color Vision Deficiency", IEEE TVCG 15(6), 2009, table 1, severity 1.0; linear RGB.
VISION = {
    "normal": np.eye(3),
    "protanopia": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "deuteranopia": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "tritanopia": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}


def seen_as(colour, matrix):
    srgb = np.array([int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    seen = np.clip(matrix @ linear, 0, 1)
    return np.where(seen <= 0.0031308, 12.92 * seen, 1.055 * seen ** (1 / 2.4) - 0.055)


@pytest.mark.parametrize(
    ("a", "b", "ratio"),
    [
        # W3C's own examples (Understanding SC 1.4.3): #777 on white just fails, #767676 passes.
        ("#777777", "#ffffff", 4.48),
        ("#767676", "#ffffff", 4.54),
        ("#ffffff", "#000000", 21.0),
    ],
)
def test_contrast_is_that_of_wcag(a, b, ratio):
    assert contrast_ratio(a, b) == pytest.approx(ratio, abs=0.005)
    assert contrast_ratio(b, a) == contrast_ratio(a, b)


@pytest.mark.parametrize("p", [LIGHT, DARK], ids=["light", "dark"])
def test_text_reaches_aa_on_ground_and_panel(p):
    for text, ground in itertools.product((p.ink, p.quiet), (p.ground, p.panel)):
        assert contrast_ratio(text, ground) >= 4.5


@pytest.mark.parametrize("p", [LIGHT, DARK], ids=["light", "dark"])
def test_marks_reach_aa_for_graphics_on_ground_and_panel(p):
    for mark in (*p.series, *p.holes, p.inner, p.outer, p.aim, p.accent):
        assert min(contrast_ratio(mark, p.ground), contrast_ratio(mark, p.panel)) >= 3


@pytest.mark.parametrize("p", [LIGHT, DARK], ids=["light", "dark"])
def test_words_on_a_main_button_and_words_in_its_colour_reach_aa(p):
    assert contrast_ratio(p.on_accent, p.accent) >= 4.5
    assert contrast_ratio(p.accent, p.ground) >= 4.5


def test_marks_on_a_photo_stand_out_from_their_dark_edge():
    edge = mix("#0a1012", "#808080", 0.72)
    for name in ("found", "moved", "added", "removed", "aim", "loupe"):
        assert contrast_ratio(getattr(ON_PHOTO, name), edge) >= 3


@pytest.mark.parametrize("vision", VISION)
@pytest.mark.parametrize(
    ("p", "roles"),
    [
        (LIGHT, ("found", "moved", "added", "typed", "centre", "aim")),
        (DARK, ("found", "moved", "added", "typed", "centre", "aim")),
        (ON_PHOTO, ("found", "moved", "added", "removed", "aim")),
    ],
    ids=["light", "dark", "photo"],
)
def test_colours_stay_apart_for_every_kind_of_sight(p, roles, vision):
    # CIEDE2000; about 1 is just noticeable, 10 is told apart at a glance (common practice).
    labs = [
        rgb2lab(seen_as(getattr(p, role), VISION[vision])[np.newaxis, np.newaxis]) for role in roles
    ]
    for a, b in itertools.combinations(labs, 2):
        assert deltaE_ciede2000(a, b).item() >= 10


def test_shapes_differ_too():
    for library in zip(*SYMBOLS, strict=True):
        assert len(set(library)) == len(SYMBOLS) == len(LIGHT.series)
