"""Render photos of practice targets with exact truth.

::

    python sample_targets/make_samples.py                              # this folder's own photos
    python sample_targets/make_samples.py --out DIR --count 20 --seed 7    # unseen ones, all kinds
    python sample_targets/make_samples.py --out DIR --count 5 --sheet ring_80 --difficulty hard

The same arguments give the same photos.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

# Run as a script, Python looks beside this file and not in the folder above it.
sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from groupscan.sheets.printable import printable_ids
from sample_targets.expose import take_practice
from sample_targets.practice import KINDS, LEVELS, PracticePlan, plan_practice
from sample_targets.render import Plan, plan_photo, take_photo, truth_of
from sample_targets.shrink import encode_jpeg, write_pair

__all__ = ["MIX", "SAMPLES", "Order", "main", "own_orders", "random_order", "random_plan", "render"]

HERE = Path(__file__).resolve().parent
MIX = (*KINDS, "printed", "pair", "pair")
PAIRS = ("ring_80", "grid", "ring_60", "letter", "ring_40", "a4", "ring_122")
BEST_QUALITY = 92
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

# Photos of other sheets than the printed ones: a grid, a foam face, and paper cut by broadheads.
PRACTICE_SAMPLES: dict[str, dict[str, Any]] = {
    "13_grid_sun_and_shadow.jpg": {
        "kind": "grid", "difficulty": "medium", "seed": 1312, "light": "sun_shadow",
    },
    "14_foam_face_strip.jpg": {
        "kind": "butt", "difficulty": "medium", "seed": 1404, "light": "overcast",
    },
    "15_a4_broadheads.jpg": {
        "kind": "a4", "difficulty": "medium", "seed": 1522, "light": "indoor",
    },
}  # fmt: skip


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


@dataclass(frozen=True)
class Order:
    """One photo to be rendered.

    Attributes
    ----------
    name : str
        Of the photo's file.
    plan : Plan or PracticePlan
    other : str, optional
        Name of the other photo of a pair.
    """

    name: str
    plan: Plan | PracticePlan
    other: str | None = None


def own_orders() -> Iterator[Order]:
    """Yield the photos of this folder that its script renders."""
    for name, settings in SAMPLES.items():
        yield Order(name, plan_photo(**({"size": SAMPLE_SIZE} | settings)))
    for name, settings in PRACTICE_SAMPLES.items():
        yield Order(name, plan_practice(**({"megapixels": 5} | settings)))


def random_order(
    seed: int,
    index: int,
    *,
    sheet: str | None = None,
    difficulty: str | None = None,
    megapixels: float | None = None,
) -> Order:
    """Plan one photo of a set that holds all kinds of sheet, or only one.

    Parameters
    ----------
    seed : int
        Seed of the set.
    index : int
        Place in the set, from 0; a photo does not depend on how many others are made.
    sheet : str, optional
        A kind of `sample_targets.practice.KINDS`, ``pair`` (each photo at an odd place is taken
        later than the one before it), ``printed``, or the id of one printable sheet; by default
        all in turn.
    difficulty : str, optional
        One of `sample_targets.practice.LEVELS`; by default all in turn. The printed sheets have
        one only.
    megapixels : float, optional
        Most that a picture has; by default as many as phones make, 3 to 12.

    Returns
    -------
    Order
    """
    turn, place = divmod(index, len(MIX))
    kind = MIX[place] if sheet is None else sheet
    if kind == "printed" or kind in printable_ids():
        only = None if kind == "printed" else (kind,)
        name = f"{seed}_{index:03d}_printed.jpg"
        return Order(name, random_plan(seed, turn if sheet is None else index, sheets=only))
    first = index
    role = None
    if kind == "pair":
        later = (MIX[:place].count("pair") if sheet is None else index) % 2
        first = index - later
        role = ("before", "after")[later]
    # Each kind meets each difficulty in turn.
    step = first if sheet is not None else turn + place - (index - first)
    level = difficulty or list(LEVELS)[step % len(LEVELS)]
    own = int(np.random.SeedSequence([seed, first]).generate_state(1)[0])
    names = [f"{seed}_{first + k:03d}_{{}}_{level}.jpg" for k in (0, 1)]
    if role is not None:
        kind = PAIRS[(first // 2) % len(PAIRS)]
        names = [n.format(f"{kind}_{r}") for n, r in zip(names, ("before", "after"), strict=True)]
        name, other = names if role == "before" else names[::-1]
    else:
        name, other = names[0].format(kind), None
    plan = plan_practice(kind, level, seed=own, role=role, megapixels=megapixels)
    return Order(name, plan, other)


def render(order: Order, folder: Path, largest_bytes: int) -> Path:
    """Take one photo, write it with its truth, and return its path."""
    plan = order.plan
    practice = isinstance(plan, PracticePlan)
    jpeg = encode_jpeg(
        take_practice(plan) if practice else take_photo(plan),
        orientation=plan.orientation,
        # Not every phone or messenger keeps the focal length.
        focal_eq_mm=plan.focal_eq_mm if plan.seed % 2 else None,
        largest_bytes=largest_bytes,
        best_quality=plan.quality if practice else BEST_QUALITY,
    )
    return write_pair(folder, jpeg, truth_of(plan, photo=order.name, other=order.other))


def main(arguments: list[str] | None = None) -> None:
    """Render the photos asked for on the command line."""
    parser = argparse.ArgumentParser(description="Render photos of practice targets with truth.")
    parser.add_argument("--out", type=Path, default=HERE, help="folder for photos and truth")
    parser.add_argument("--count", type=int, help="this many random photos, not the own ones")
    parser.add_argument("--first", type=int, default=0, help="place of the first one in the set")
    parser.add_argument("--seed", type=int, default=1, help="seed of the random photos")
    parser.add_argument("--sheet", help=f"only this: {', '.join(KINDS)}, pair, printed, or an id")
    parser.add_argument("--difficulty", choices=list(LEVELS), help="only this difficulty")
    parser.add_argument("--megapixels", type=float, help="make larger pictures this small")
    chosen = parser.parse_args(arguments)
    known = [*KINDS, "pair", "printed", *printable_ids(), None]
    if chosen.sheet not in known:
        parser.error(f"no kind of sheet is called {chosen.sheet!r}")
    chosen.out.mkdir(parents=True, exist_ok=True)
    if chosen.count is None:
        orders, largest = own_orders(), 900_000
    else:
        orders, largest = (
            (
                random_order(
                    chosen.seed,
                    index,
                    sheet=chosen.sheet,
                    difficulty=chosen.difficulty,
                    megapixels=chosen.megapixels,
                )
                for index in range(chosen.first, chosen.first + chosen.count)
            ),
            8_000_000,
        )
    for order in orders:
        print(render(order, chosen.out, largest))


if __name__ == "__main__":
    main()
