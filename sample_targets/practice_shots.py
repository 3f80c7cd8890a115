"""Make `practice_shots.csv`: the demo club's season of two rigs, as somebody types it by hand.

Run ``python -m sample_targets.practice_shots`` to write it again. All of it is invented: the club,
the archer, the rigs, and every shot. What is true of the season, and so should be found in it, is
said in `groupscan.demo.effects`, and in words in ``docs/DEMO.md``. The comparison of two builds is
left out, as a table of shots has no build.
"""

from __future__ import annotations

import argparse
import csv
from collections.abc import Iterator
from pathlib import Path

from groupscan.demo.shooting import SEED, draw_season

__all__ = ["COLUMNS", "season_rows", "write_season"]

COLUMNS = (
    "date", "end", "order", "shooter", "rig", "distance", "head", "arrow", "right_mm", "high_mm",
)  # fmt: skip


def season_rows(seed: int = SEED) -> Iterator[dict[str, object]]:
    """Yield the season's shots, one row each, in the order shot."""
    for session in draw_season(seed):
        if not session.rig or session.build:
            continue
        for shot in session.shots:
            yield {
                "date": session.held_on.isoformat(),
                "end": shot.end,
                "order": shot.order,
                "shooter": session.shooter,
                "rig": session.rig,
                "distance": session.distance,
                "head": shot.head,
                "arrow": shot.arrow,
                "right_mm": shot.right_mm,
                "high_mm": shot.high_mm,
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
