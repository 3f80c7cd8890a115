"""Make `practice_shots.csv`: an invented season of the demo club, as somebody types it by hand.

Run ``python -m sample_targets.practice_shots`` to write it again. All of it is invented: the club,
the archers, the rigs, and every shot, which is drawn from the model below with a fixed seed.

What is true of the season, and so should be found in it:

- Heron (Tamsin Orrell, compound): six numbered arrows; 4 flies 1.6 mrad right and 0.6 high. From
  2026-07-04 on the fixed-blade heads land 1.9 mrad low right of the field points, the expandable
  heads with them. From 2026-06-06 on, after a new string, sigma is 1.5 times what it was. The
  first arrow of a session lands 0.9 mrad high.
- Slate (Jory Pell, recurve): nothing to find; sigma is the same all season.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path

import numpy as np

__all__ = ["COLUMNS", "season_rows", "write_season"]

COLUMNS = (
    "date", "end", "order", "shooter", "rig", "distance", "head", "arrow", "right_mm", "high_mm",
)  # fmt: skip
HEADS = ("field point", "fixed-blade", "expandable")
SEED = 20260412
M_PER_YARD = 0.9144

# Standard deviations in mrad: a shot about its end's centre, an end about its session's, a session.
SHOT, END, SESSION = 0.85, 0.12, 0.2
ARROW_4 = (1.6, 0.6)
OFFSETS = {"field point": (0.0, 0.0), "fixed-blade": (1.5, -1.2), "expandable": (0.1, 0.05)}
COLD = (0.0, 0.9)
NEW_STRING, WIDER = date(2026, 6, 6), 1.5
BROADHEADS = date(2026, 7, 4)


def season_rows(seed: int = SEED) -> Iterator[dict[str, object]]:
    """Yield the season's shots, one row each, in the order shot."""
    rng = np.random.default_rng(seed)
    for week in range(18):
        day = date(2026, 4, 11) + timedelta(days=7 * week)
        yards = 30 if week % 3 == 2 else 20
        yield from _session(
            rng, "Heron", day, yards, heads=HEADS if day >= BROADHEADS else HEADS[:1]
        )
    for week in range(8):
        yield from _session(rng, "Slate", date(2026, 4, 14) + timedelta(days=14 * week), 20)


def _session(
    rng: np.random.Generator, rig: str, day: date, yards: int, *, heads: tuple[str, ...] = HEADS[:1]
) -> Iterator[dict[str, object]]:
    heron = rig == "Heron"
    wide = WIDER if heron and day >= NEW_STRING else 1.0
    here = rng.normal((0.3, -0.2), SESSION)
    order = 0
    for end in range(1, 4 if len(heads) == 1 else 7):
        centre = here + rng.normal(0, END, 2)
        for arrow in rng.permutation(6) + 1:
            order += 1
            # Heads pass around the arrows from end to end, so that each arrow carries each.
            head = heads[(arrow + end) % len(heads)]
            at = centre + OFFSETS[head] + rng.normal(0, SHOT * wide, 2)
            at += COLD if heron and order == 1 else (0, 0)
            at += ARROW_4 if heron and arrow == 4 else (0, 0)
            right, high = (at * yards * M_PER_YARD).round(1)
            yield {
                "date": day.isoformat(),
                "end": end,
                "order": order,
                "shooter": "Tamsin Orrell" if heron else "Jory Pell",
                "rig": rig,
                "distance": f"{yards} yd",
                "head": head,
                "arrow": arrow,
                "right_mm": right,
                "high_mm": high,
            }


def write_season(path: Path) -> None:
    """Write the season as CSV."""
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, COLUMNS, lineterminator="\n")
        writer.writeheader()
        writer.writerows(season_rows())


def main() -> None:
    """Write the table beside this file, or where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--out", type=Path, default=Path(__file__).with_suffix(".csv"))
    write_season(parser.parse_args().out)


if __name__ == "__main__":
    main()
