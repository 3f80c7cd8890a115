"""How right are the holes? Scan photos with known truth and compare.

``python -m benchmarks.accuracy [FOLDER...]`` scans each photo that has a truth file (JSON) of its
name beside it, matches found holes with true ones (optimal assignment, within 3 mm or 3/4 of the
hole's diameter, whichever is more) and prints, for each photo, by difficulty, by sheet and in all:

========= ==========================================================================
true      holes to find (not those under a patch; behind an arrow: welcome, not asked)
recall    share of them that were found
precision share of the finds that are holes; what the scan calls patched is no find
rmse mm   root mean square distance of matched holes from the truth, in two dimensions
dx, dy    mean error of matched holes (bias), x to the right, y up
2 se xy   share of errors in one axis within 2 standard errors (0.95 would be right)
2 se r    share of matched holes within 2 standard errors radially (0.86 would be right)
MR, ES %  error of mean radius and extreme spread, all finds against all true holes;
          in sums the mean size of these errors, and of the next three
MR med    in sums the median size over photos of the error of the mean radius
centre    distance of the group centres, mm
scale %   error of mm per pixel, at the scan's own origin and along its own x axis
turn      how far the finds are turned against the truth, degrees
========= ==========================================================================

Then blade cuts (right number of blades and axis within 1.5 mm), arrows that stand in the sheet,
and stated confidence against the share that is real. ``--before`` scans each photo after of a pair
once more, with the one before: new holes only. ``--bars`` does so too and sets what must be reached
beside what was measured. A photo that cannot be scanned is printed with its error, and all its
holes count as missed.
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
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.bars import judge
from benchmarks.matching import rigid_fit
from benchmarks.scoring import Score, score_photo
from benchmarks.sums import sum_scores, summary
from benchmarks.truths import Found, Truth, found_in, read_truth, sheet_id_of
from groupscan.workers import run_in_order

__all__ = ["Case", "Result", "main", "run_case"]

SAMPLES = Path(__file__).parents[1] / "sample_targets"
PHOTO_TYPES = {".jpg", ".jpeg", ".png", ".webp", ".tif", ".tiff", ".heic"}
FAIR = ("easy", "medium")


@dataclass(frozen=True)
class Case:
    """One photo to scan and how to ask for it."""

    photo: Path
    hands: bool = False
    shaft: bool = False
    sheet: bool = False
    before: bool = False
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
    before: bool = False

    def to_dict(self) -> dict[str, Any]:
        """Return a row for JSON."""
        return {
            "photo": self.photo,
            "sheet": self.sheet,
            "difficulty": self.difficulty,
            "before": self.before,
            **summary(self.score),
            "seconds": round(self.seconds, 2),
            "error": self.error,
            "warnings": list(self.warnings),
        }


def find_cases(folder: Path) -> Iterator[Path]:
    """Yield the photos of a folder that have a truth file, in the order of their names."""
    for path in sorted(folder.iterdir()):
        if path.suffix.lower() in PHOTO_TYPES and path.with_suffix(".json").is_file():
            yield path


def is_after(path: Path) -> bool:
    """Whether a photo is the later one of a pair."""
    document = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    return bool((document.get("pair") or {}).get("role") == "after")


def run_case(case: Case) -> Result:
    """Scan one photo and score it; an error of any kind is part of the result."""
    document = json.loads(case.photo.with_suffix(".json").read_text(encoding="utf-8"))
    truth = read_truth(document, new_only=case.before)
    sheet_id = sheet_id_of(document)
    error, warnings, scan = None, (), None
    found = Found(np.empty((0, 2)), np.empty(0))
    start = time.perf_counter()
    try:
        scan = _scan(case, document, sheet_id)
        seconds = time.perf_counter() - start
        warnings = tuple(scan.warnings)
        found = _found(scan, truth, sheet_id)
        truth = _scaled_there(truth, scan)
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
        before=case.before,
    )


def _scan(case: Case, document: dict[str, Any], sheet_id: str) -> Any:
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
    if case.before:
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
    found = found_in(scan)
    if sheet_id != "known-length" or len(truth.xy_px) < 2:
        return found
    # A stated length gives no origin and no up: lay the scan's plane on the sheet's by where the
    # true holes are in the photo, without change of scale, so that the finds stay out of it.
    turn, shift = rigid_fit(np.asarray(scan.px_to_mm(truth.xy_px)), truth.xy_mm)
    turned = float(np.degrees(np.arctan2(turn[1, 0], turn[0, 0])))
    return replace(
        found,
        xy_mm=found.xy_mm @ turn.T + shift,
        blade_angle_deg=found.blade_angle_deg + turned,
    )


def _scaled_there(truth: Truth, scan: Any) -> Truth:
    """Take the true scale where the scan gives its own: at its origin, along its x axis."""
    if truth.plane is None:
        return truth
    reach = 5.0
    start, end = np.asarray(scan.mm_to_px_points([[-reach, 0.0], [reach, 0.0]]))
    stretch = truth.plane.length_mm(start, end) / (2 * reach)
    return replace(truth, mm_per_px=float(scan.scale.mm_per_px) * stretch)


def _is_expected(problem: Exception) -> bool:
    from groupscan.errors import GroupscanError

    return isinstance(problem, GroupscanError)


def json_safe(value: Any) -> Any:
    """Return the value with NaN as None, since JSON has no NaN."""
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if isinstance(value, dict):
        return {key: json_safe(one) for key, one in value.items()}
    return [json_safe(one) for one in value] if isinstance(value, list | tuple) else value


def sum_rows(results: Sequence[Result]) -> list[dict[str, Any]]:
    """Return sums: easy and medium, each difficulty, each sheet, all; and pairs by themselves."""
    plain = [result for result in results if not result.before]
    groups = [
        ("easy and medium", [r for r in plain if r.difficulty in FAIR]),
        (
            "rings, easy and medium",
            [r for r in plain if r.difficulty in FAIR and r.sheet.startswith("ring-")],
        ),
    ]
    for label, key in (("difficulty", "difficulty"), ("sheet", "sheet")):
        for name in sorted({str(getattr(result, key)) for result in plain}):
            groups.append((f"{label} {name}", [r for r in plain if getattr(r, key) == name]))
    scanned = [result for result in plain if result.error is None]
    if len(scanned) < len(plain):
        groups.append(("all that were scanned", scanned))
    groups.append(("all", plain))
    groups.append(("new since before", [result for result in results if result.before]))
    return [
        {
            "sum": name,
            **sum_scores([result.score for result in members]),
            "failed": sum(result.error is not None for result in members),
            "seconds": sum(result.seconds for result in members) / len(members),
        }
        for name, members in groups
        if members
    ]


def _parse(argv: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.accuracy", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument(
        "folders",
        metavar="FOLDER",
        type=Path,
        nargs="*",
        default=[SAMPLES],
        help="photos, each with a truth file beside it; left out: the samples",
    )
    parser.add_argument("--only", default="", help="scan only photos whose name contains this")
    parser.add_argument("--hands", action="store_true", help="give the marks by hand, from truth")
    parser.add_argument("--shaft", action="store_true", help="give the true shaft diameter")
    parser.add_argument(
        "--sheet", action="store_true", help="give the true sheet, do not recognise"
    )
    parser.add_argument(
        "--before", action="store_true", help="pairs too: new holes, given the photo before"
    )
    parser.add_argument("--bars", action="store_true", help="each bar, and whether it is met")
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.add_argument("--out", type=Path, help="folder for pictures of misses and false finds")
    parser.add_argument("--workers", type=int, default=min(2, os.cpu_count() or 1))
    return parser.parse_args(argv)


def _cases(options: argparse.Namespace) -> list[Case]:
    cases = [
        Case(path, options.hands, options.shaft, options.sheet, out=options.out)
        for folder in options.folders
        for path in find_cases(folder)
        if options.only in path.name
    ]
    if options.before or options.bars:
        pairs = [case for case in cases if is_after(case.photo)]
        cases += [replace(case, before=True, out=None) for case in pairs]
    return cases


def main(argv: Sequence[str] | None = None) -> int:
    """Run the benchmark; the exit code is 2 where there is nothing to scan."""
    options = _parse(argv)
    cases = _cases(options)
    if not cases:
        where = ", ".join(str(folder) for folder in options.folders)
        print(f"no photo with a truth file beside it in {where}", file=sys.stderr)
        return 2
    results = []
    for answer in run_in_order(run_case, cases, workers=options.workers):
        if isinstance(answer, Exception):
            raise answer  # what goes wrong in a scan is in the result: this is the benchmark's own
        results.append(answer)
    sums = sum_rows(results)
    bars = judge({row["sum"]: row for row in sums}) if options.bars else []
    if options.json:
        for row in [*(result.to_dict() for result in results), *sums, *bars]:
            print(json.dumps(json_safe(row)))
    else:
        from benchmarks.printing import print_report

        print_report([(r.photo, r.to_dict()) for r in results], sums, bars)
    return 0


if __name__ == "__main__":
    sys.exit(main())
