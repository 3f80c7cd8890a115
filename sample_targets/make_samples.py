"""Render photos of our printed sheets with exact truth.

::

    python sample_targets/make_samples.py                              # this folder's own photos
    python sample_targets/make_samples.py --out DIR --count 20 --seed 7    # unseen ones

The same arguments give the same photos.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import Any

import numpy as np

# Run as a script, Python looks beside this file and not in the folder above it.
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from groupscan.sheets.printable import printable_ids
from sample_targets.render import Plan, plan_photo, take_photo, truth_of
from sample_targets.shrink import encode_jpeg, write_pair

__all__ = ["SAMPLES", "main", "random_plan"]

HERE = Path(__file__).resolve().parent
SAMPLE_SIZE = (1920, 2560)

# Invented archers of an invented club, Quillmere Bowmen, and two invented rigs, Heron and Slate.
SAMPLES: dict[str, dict[str, Any]] = {
    "07_one_aim_square_on.jpg": {
        "sheet_id": "one-aim-letter",
        "seed": 701,
        "tilt_deg": 3.0,
        "light": "overcast",
        "butt": "foam",
        "shots_per_aim": 8,
        "spread_mm": 12.0,
        "fill": 0.8,
        "handwriting": ("3 May", "Heron", "20 yd"),
    },
    "08_four_aims_shadow.jpg": {
        "sheet_id": "four-aims-letter",
        "seed": 802,
        "tilt_deg": 14.0,
        "light": "sun + shadow",
        "butt": "straw",
        "shots_per_aim": 3,
        "spread_mm": 9.0,
        "handwriting": ("10 May", "Slate", "30 yd"),
    },
    "09_five_aims_marker_shot.jpg": {
        "sheet_id": "five-aims-a4",
        "seed": 903,
        "tilt_deg": 20.0,
        "light": "foliage",
        "butt": "board",
        "shots_per_aim": 2,
        "spread_mm": 10.0,
        "marker_shot": True,
        "handwriting": ("17 May", "Heron", "25 m"),
    },
    "10_plumb_line_indoor.jpg": {
        "sheet_id": "plumb-line-letter",
        "seed": 1004,
        "tilt_deg": 30.0,
        "light": "indoor",
        "butt": "foam",
        "shots_per_aim": 9,
        "spread_mm": 14.0,
    },
    "11_four_aims_turned.jpg": {
        "sheet_id": "four-aims-a4",
        "seed": 1105,
        "tilt_deg": 9.0,
        "light": "sun",
        "butt": "straw",
        "shots_per_aim": 3,
        "spread_mm": 11.0,
        "patched": 2,
        "orientation": 6,
        "handwriting": ("24 May", "Slate", "40 yd"),
    },
    "12_one_aim_dusk.jpg": {
        "sheet_id": "one-aim-a4",
        "seed": 1206,
        "tilt_deg": 24.0,
        "light": "dusk",
        "butt": "board",
        "shots_per_aim": 6,
        "spread_mm": 16.0,
        "fill": 0.55,
    },
}


def random_plan(seed: int, index: int, *, sheets: tuple[str, ...] | None = None) -> Plan:
    """Plan one photo of a random printed sheet.

    Parameters
    ----------
    seed : int
        Seed of the set.
    index : int
        Place in the set, from 0; a photo does not depend on how many others are made.
    sheets : tuple of str, optional
        Sheets to choose from; by default all printable ones, in turn.

    Returns
    -------
    Plan
    """
    rng = np.random.default_rng([seed, index])
    choice = sheets or printable_ids()
    short, long = ((1920, 2560), (2448, 3264), (3024, 4032))[rng.integers(3)]
    landscape = rng.random() < 0.2
    written = (f"{rng.integers(1, 29)} June", str(rng.choice(["Heron", "Slate"])), "20 yd")
    return plan_photo(
        choice[index % len(choice)],
        seed=int(rng.integers(2**31)),
        size=(long, short) if landscape else (short, long),
        marker_shot=bool(rng.random() < 0.3),
        patched=int(rng.choice([0, 0, 0, 1, 2])),
        fill=float(rng.uniform(0.5, 0.9)),
        handwriting=written if rng.random() < 0.6 else (),
        orientation=int(rng.choice([1, 1, 1, 6, 8, 3])),
    )


def main(arguments: list[str] | None = None) -> None:
    """Render the photos asked for on the command line."""
    parser = argparse.ArgumentParser(description="Render photos of printed sheets with truth.")
    parser.add_argument("--out", type=Path, default=HERE, help="folder for photos and truth")
    parser.add_argument("--count", type=int, help="this many random photos, not the own ones")
    parser.add_argument("--seed", type=int, default=1, help="seed of the random photos")
    parser.add_argument("--sheet", action="append", help="only this sheet (may be repeated)")
    chosen = parser.parse_args(arguments)
    chosen.out.mkdir(parents=True, exist_ok=True)
    if chosen.count is None:
        plans = {
            name: plan_photo(**({"size": SAMPLE_SIZE} | settings))
            for name, settings in SAMPLES.items()
        }
        largest = 900_000
    else:
        sheets = tuple(chosen.sheet) if chosen.sheet else None
        plans = {
            f"printed_{chosen.seed}_{k:03d}.jpg": random_plan(chosen.seed, k, sheets=sheets)
            for k in range(chosen.count)
        }
        largest = 6_000_000
    for name, plan in plans.items():
        jpeg = encode_jpeg(
            take_photo(plan),
            orientation=plan.orientation,
            # Not every phone or messenger keeps the focal length.
            focal_eq_mm=plan.focal_eq_mm if plan.seed % 2 else None,
            largest_bytes=largest,
        )
        photo = write_pair(chosen.out, jpeg, truth_of(plan, photo=name))
        print(f"{photo}  {len(jpeg) / 1000:.0f} kB  {plan.sheet.id}")


if __name__ == "__main__":
    main()
