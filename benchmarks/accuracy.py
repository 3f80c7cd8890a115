"""How right are the holes? Scan photos with known truth and compare.

``python -m benchmarks.accuracy FOLDER`` scans each photo that has a truth file (JSON) of the same
name beside it, matches found holes with true ones (optimal assignment, within 3 mm or 3/4 of the
hole's diameter, whichever is more) and prints, for each photo, by difficulty, by sheet and in all:

========= ==========================================================================
true      holes to find (not those under a patch; behind an arrow: welcome, not asked)
recall    share of them that were found
precision share of the finds that are holes
rmse mm   root mean square distance of matched holes from the truth, in two dimensions
dx, dy    mean error of matched holes (bias), x to the right, y up
in 2 se   share of matched holes whose true centre lies within 2 standard errors
          (0.86 would be right, if both axes have the stated standard error)
MR, ES %  error of mean radius and extreme spread, all finds against all true holes;
          in sums the mean size of these errors, and of the next three
centre    distance of the group centres, mm
scale %   error of mm per pixel
turn      how far the finds are turned against the truth, degrees
========= ==========================================================================

A photo that cannot be scanned is printed with its error, and all its holes count as missed.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import time
import traceback
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.scoring import Found, Score, Truth, rigid_fit, score_photo, sum_scores

__all__ = ["Case", "Result", "main", "read_truth", "run_case", "sheet_id_of"]

SHEETS = {
    "letter": "plain-letter",
    "a4": "plain-a4",
    "grid": "inch-grid",
    "butt": "known-length",
}
PHOTO_TYPES = {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic"}

COLUMNS = (
    ("true", "true", "{:d}"),
    ("found", "found", "{:d}"),
    ("missed", "missed", "{:d}"),
    ("false", "false", "{:d}"),
    ("recall", "recall", "{:.3f}"),
    ("precision", "precis.", "{:.3f}"),
    ("rmse_mm", "rmse mm", "{:.2f}"),
    ("bias_x_mm", "dx mm", "{:+.2f}"),
    ("bias_y_mm", "dy mm", "{:+.2f}"),
    ("within_2se", "in 2 se", "{:.2f}"),
    ("mean_radius_pct", "MR %", "{:+.1f}"),
    ("extreme_spread_pct", "ES %", "{:+.1f}"),
    ("centre_mm", "centre mm", "{:.2f}"),
    ("scale_pct", "scale %", "{:+.2f}"),
    ("turn_deg", "turn", "{:+.2f}"),
    ("seconds", "s", "{:.1f}"),
)

# In sums these are means of sizes, so they have no sign.
MEAN_SIZES = {"mean_radius_pct", "extreme_spread_pct", "scale_pct", "turn_deg"}


@dataclass(frozen=True)
class Case:
    """One photo to scan and how to ask for it."""

    photo: Path
    hands: bool = False
    shaft: bool = False
    sheet: bool = False
    pairs: bool = False
    out: Path | None = None


@dataclass(frozen=True)
class Result:
    """What came of one photo: a score, or the error and an all-missed score."""

    photo: str
    sheet: str
    difficulty: str
    score: Score
    seconds: float
    error: str | None = None
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return a JSON-safe row; what does not exist is None."""
        row = {
            "photo": self.photo,
            "sheet": self.sheet,
            "difficulty": self.difficulty,
            **self.score.summary(),
            "seconds": round(self.seconds, 2),
            "error": self.error,
            "warnings": list(self.warnings),
        }
        return json_safe(row)


def sheet_id_of(truth: dict[str, Any]) -> str:
    """Return the catalogue's name of the sheet in a truth file.

    Examples
    --------
    >>> sheet_id_of({"sheet": "ring_80"}), sheet_id_of({"sheet": "a4"})
    ('ring-80', 'plain-a4')
    """
    if truth.get("sheet_id"):
        return str(truth["sheet_id"])
    return SHEETS.get(truth["sheet"], str(truth["sheet"]).replace("_", "-"))


def read_truth(document: dict[str, Any], *, new_only: bool = False) -> Truth:
    """Read the truth of one photo; ``new_only`` keeps shots that an earlier photo lacks."""
    holes = [hole for hole in document["holes"] if hole.get("state") != "patched"]
    if new_only:
        holes = [hole for hole in holes if hole.get("new")]
    return Truth(
        xy_mm=np.array([[h["x_mm"], h["y_mm"]] for h in holes], dtype=float).reshape(-1, 2),
        xy_px=np.array([[h["x_px"], h["y_px"]] for h in holes], dtype=float).reshape(-1, 2),
        diameter_mm=np.array([h.get("hole_mm") or h["shaft_mm"] for h in holes], dtype=float),
        hidden=np.array([bool(h.get("behind_arrow")) for h in holes], dtype=bool),
        mm_per_px=float(document.get("mm_per_px_at_centre", math.nan)),
    )


def find_cases(folder: Path) -> Iterator[Path]:
    """Yield the photos of a folder that have a truth file, in the order of their names."""
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() in PHOTO_TYPES and path.with_suffix(".json").is_file():
            yield path


def run_case(case: Case) -> Result:
    """Scan one photo and score it; an error of any kind is part of the result."""
    document = json.loads(case.photo.with_suffix(".json").read_text(encoding="utf-8"))
    paired = case.pairs and document.get("pair", {}).get("role") == "after"
    truth = read_truth(document, new_only=paired)
    sheet_id = sheet_id_of(document)
    error, warnings, scan = None, (), None
    found = Found(np.empty((0, 2)), np.empty(0))
    start = time.perf_counter()
    try:
        scan = _scan(case, document, sheet_id, paired=paired)
        seconds = time.perf_counter() - start
        warnings = tuple(scan.warnings)
        found = _found(scan, truth, sheet_id)
    except Exception as problem:
        seconds = time.perf_counter() - start
        error = f"{type(problem).__name__}: {problem}"
        if not _is_expected(problem):
            error += f" (from {traceback.extract_tb(problem.__traceback__)[-1]})"
    score = score_photo(truth, found)
    if case.out is not None:
        from benchmarks.overlays import write_overlays

        write_overlays(case.out, case.photo, truth=truth, scan=scan, score=score)
    return Result(
        photo=case.photo.name,
        sheet=sheet_id,
        difficulty=str(document.get("difficulty", "-")),
        score=score,
        seconds=seconds,
        error=error,
        warnings=warnings,
    )


def _scan(case: Case, document: dict[str, Any], sheet_id: str, *, paired: bool) -> Any:
    from groupscan.photo.reading import read_photo
    from groupscan.photo.scan import scan_photo

    options: dict[str, Any] = {}
    # The size of a ring face cannot be known from its picture: four sizes look the same.
    if case.sheet or sheet_id.startswith("ring-"):
        options["sheet"] = sheet_id
    if case.shaft and document["holes"]:
        options["shaft_mm"] = float(document["holes"][0]["shaft_mm"])
    if case.hands:
        options["hand_marks"] = _hand_marks(document, sheet_id)
        options["sheet"] = sheet_id  # who gives marks by hand says on what
    if paired:
        options["before"] = read_photo(case.photo.parent / document["pair"]["other"])
    return scan_photo(read_photo(case.photo), **options)


def _hand_marks(document: dict[str, Any], sheet_id: str) -> Any:
    """Return the marks that a careful hand would give: the known length, or the four corners."""
    from groupscan.photo.marks.hand import KnownLength, KnownRectangle

    if sheet_id == "known-length":
        length = document["known_length"]
        start, end = (tuple(point) for point in length["ends_px"])
        return KnownLength(float(length["mm"]), (start, end))
    width, height = document["sheet_size_mm"]
    tl, tr, br, bl = (tuple(point) for point in document["corners_px"])
    return KnownRectangle(float(width), float(height), (tl, tr, br, bl))


def _found(scan: Any, truth: Truth, sheet_id: str) -> Found:
    # A hole that the scan itself calls patched is no claim of an open one.
    holes = [hole for hole in scan.holes if hole.state != "patched"]
    xy = np.array([[hole.x_mm, hole.y_mm] for hole in holes], dtype=float).reshape(-1, 2)
    if sheet_id == "known-length" and len(truth.xy_px) >= 2:
        # A stated length gives no origin and no up: lay the scan's plane on the sheet's by where
        # the true holes are in the photo, without change of scale, so that the finds stay out of it
        turn, shift = rigid_fit(np.asarray(scan.px_to_mm(truth.xy_px)), truth.xy_mm)
        xy = xy @ turn.T + shift
    se = np.array([hole.se_mm for hole in holes], dtype=float)
    return Found(xy_mm=xy, se_mm=se, mm_per_px=float(scan.scale.mm_per_px))


def _is_expected(problem: Exception) -> bool:
    from groupscan.errors import GroupscanError

    return isinstance(problem, GroupscanError)


def json_safe(row: dict[str, Any]) -> dict[str, Any]:
    """Return the row with NaN as None, since JSON has no NaN."""
    return {
        key: None if isinstance(value, float) and not math.isfinite(value) else value
        for key, value in row.items()
    }


def sum_rows(results: Sequence[Result]) -> list[dict[str, Any]]:
    """Return sums by difficulty, by sheet, of fair photos of ring faces, and of all."""
    groups: list[tuple[str, list[Result]]] = []
    for label, key in (("difficulty", "difficulty"), ("sheet", "sheet")):
        for name in sorted({str(getattr(result, key)) for result in results}):
            members = [result for result in results if getattr(result, key) == name]
            groups.append((f"{label} {name}", members))
    rings = [r for r in results if r.sheet.startswith("ring-") and r.difficulty in _FAIR]
    if rings:
        groups.append(("rings, easy and medium", rings))
    scanned = [result for result in results if result.error is None]
    if len(scanned) < len(results):
        groups.append(("all that were scanned", scanned))
    groups.append(("all", list(results)))
    return [
        {
            "sum": name,
            **sum_scores([result.score for result in members]),
            "failed": sum(result.error is not None for result in members),
            "seconds": sum(result.seconds for result in members) / max(len(members), 1),
        }
        for name, members in groups
    ]


_FAIR = ("easy", "medium")


def _line(name: str, row: dict[str, Any]) -> str:
    cells = []
    for key, title, form in COLUMNS:
        if "sum" in row and key in MEAN_SIZES:
            form = form.replace("+", "")
        value = row.get(key)
        missing = value is None or (isinstance(value, float) and math.isnan(value))
        cells.append(("-" if missing else form.format(value)).rjust(max(len(title), 6)))
    return f"{name:<28} " + "  ".join(cells)


def _print_table(results: Sequence[Result]) -> None:
    print(f"{'photo':<28} " + "  ".join(title.rjust(6) for _, title, _ in COLUMNS))
    for result in results:
        row = {**result.score.summary(), "seconds": result.seconds}
        print(_line(result.photo[:28], row))
        if result.error:
            print(f"    error: {result.error}")
        for warning in result.warnings:
            print(f"    warning: {warning}")
    print()
    for row in sum_rows(results):
        print(_line(f"{row['sum']} ({row['photos']})"[:28], row))
    failed = sum(result.error is not None for result in results)
    if failed:
        print(f"{failed} of {len(results)} photos failed")


def _parse(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.accuracy", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("folder", type=Path, help="photos, each with a truth file beside it")
    parser.add_argument("--only", default="", help="scan only photos whose name contains this")
    parser.add_argument("--hands", action="store_true", help="give the marks by hand, from truth")
    parser.add_argument("--shaft", action="store_true", help="give the true shaft diameter")
    parser.add_argument(
        "--sheet", action="store_true", help="give the true sheet, do not recognise"
    )
    parser.add_argument(
        "--pairs", action="store_true", help="scan photos after with the one before: new holes only"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.add_argument("--out", type=Path, help="folder for pictures of misses and false finds")
    parser.add_argument("--workers", type=int, default=min(2, os.cpu_count() or 1))
    return parser.parse_args(argv)


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark; the exit code is 2 where there is nothing to scan."""
    options = _parse(argv)
    cases = [
        Case(path, options.hands, options.shaft, options.sheet, options.pairs, options.out)
        for path in find_cases(options.folder)
        if options.only in path.name
    ]
    if not cases:
        print(f"no photo with a truth file beside it in {options.folder}", file=sys.stderr)
        return 2
    if options.workers > 1 and len(cases) > 1:
        with ProcessPoolExecutor(options.workers, mp_context=get_context("spawn")) as pool:
            results = list(pool.map(run_case, cases))
    else:
        results = [run_case(case) for case in cases]
    if options.json:
        for row in [result.to_dict() for result in results] + [
            json_safe(row) for row in sum_rows(results)
        ]:
            print(json.dumps(row))
    else:
        _print_table(results)
    return 0


if __name__ == "__main__":
    sys.exit(main())
