"""Quantities in sentences, told in the units of whoever reads them."""

import pytest

from groupscan.csvfile import csv_bytes
from groupscan.stats.plain import json_safe
from groupscan.telling import retold, tied

INCHES = {"mm": "in", "m": "yd"}


@pytest.mark.parametrize(
    ("said", "told"),
    [
        # 25.4 mm are an inch and 0.9144 m a yard, by definition.
        (tied(1, "mm", ".0f"), "0.04 in"),
        (tied(2, "mm", ".0f"), "0.08 in"),
        (tied(6, "mm", ".0f"), "0.24 in"),
        (tied(0.1, "mm", ".1f"), "0.004 in"),
        (tied(152.4, "mm", "g"), "6 in"),
        (tied(1234, "mm", ".3g"), "48.4 in"),
        (tied(3, "m", "g"), "3.3 yd"),
        (tied(0, "mm", ".0f"), "0 in"),
    ],
)
def test_a_quantity_is_told_no_finer_than_it_was_said(said, told):
    assert retold(said, INCHES) == told


@pytest.mark.parametrize("space", [" ", "\u00a0", "\u202f", "\u2009"])
def test_a_name_is_no_quantity_whatever_its_spaces(space):
    name = f"Five 5{space}mm tubes"
    assert retold(f"{name}: {tied(25, 'mm')} low", INCHES) == f"{name}: 0.98 in low"


def test_files_for_other_programs_have_plain_spaces_and_names_as_they_were_typed():
    import pandas as pd

    name = "Five 5\u00a0mm tubes"
    said = f"{name} land {tied(25, 'mm')} low"
    plain = f"{name} land 25 mm low"
    assert json_safe({"notes": [said]}) == {"notes": [plain]}
    assert plain in csv_bytes(pd.DataFrame({"reason": [said]})).decode("utf-8-sig")
