"""What many tests share: the sample photos, each read once and scanned once."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import pytest

SAMPLES = Path(__file__).parent.parent / "sample_targets"


class Samples:
    """The sample photos by the stem of their name."""

    folder = SAMPLES
    faces = (
        "01_face80_overcast",
        "02_face40_sun",
        "03_face60_arrows_in",
        "04_face80_before",
        "05_face80_after",
    )
    printed = (
        "07_one_aim_square_on",
        "08_four_aims_shadow",
        "09_five_aims_marker_shot",
        "10_plumb_line_indoor",
        "11_four_aims_turned",
        "12_one_aim_dusk",
    )

    def path(self, name: str) -> Path:
        return SAMPLES / f"{name}.jpg"

    @cache  # noqa: B019  (one instance lives as long as the session)
    def truth(self, name: str) -> dict[str, Any]:
        return json.loads((SAMPLES / f"{name}.json").read_text(encoding="utf-8"))

    @cache  # noqa: B019
    def photo(self, name: str) -> Any:
        from groupscan.photo.reading import read_photo

        return read_photo(self.path(name))

    @cache  # noqa: B019
    def scan(self, name: str) -> Any:
        """The scan of a photo; of a face its size is named, as a user would."""
        from groupscan.photo.scan import scan_photo

        sheet = self.truth(name)["sheet_id"] if name in self.faces else None
        return scan_photo(self.photo(name), sheet=sheet)


@pytest.fixture(scope="session")
def samples() -> Samples:
    return Samples()
