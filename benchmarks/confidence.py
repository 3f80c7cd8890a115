"""Fit how sure a disc is to be a hole, and test what is stated.

``python -m benchmarks.confidence FOLDER...`` scans each photo with a truth file beside it, looks at
every disc that was fitted, asks the truth which of them are holes, and prints the weights of a
logistic function of their looks (`groupscan.photo.holes.confidence.looks`), fitted by penalised
maximum likelihood. Then a table: the confidence that weights fitted to all other photos would
state, against the share that is real.

Discs at arrows, at blade cuts, at patches and at holes that touch are left out: those are judged
by other means.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.special import expit

from benchmarks.accuracy import find_cases
from benchmarks.truths import Floats, sheet_id_of
from groupscan.errors import GroupscanError
from groupscan.photo.expected import flatten
from groupscan.photo.holes.confidence import WEIGHTS, looks
from groupscan.photo.holes.discs import Discs
from groupscan.photo.holes.finding import fit_candidates
from groupscan.photo.holes.regions import distinct
from groupscan.photo.plane import Plane
from groupscan.photo.reading import read_photo
from groupscan.photo.scan import scan_photo
from groupscan.sheets.catalogue import get_sheet

__all__ = ["Discoveries", "fit_weights", "look_at", "main"]

#: Steps between bins of the table, and how strongly weights are held to those that are in use.
_BINS = (0.0, 0.05, 0.2, 0.5, 0.7, 0.85, 0.95, 0.99, 1.001)
_HELD = 0.02
#: A disc is a hole's if it is this near, and is left out if this near to what is judged otherwise.
_NEAR_MM, _OTHERS_MM = 2.0, 8.0


@dataclass(frozen=True)
class Discoveries:
    """Discs of one photo: what they look like, (n, k), and whether they are holes."""

    looks: Floats
    real: Floats


def fit_weights(photos: Sequence[Discoveries]) -> Floats:
    """Return the weights of a logistic function that fit best, each with the sign in use."""
    x = np.vstack([photo.looks for photo in photos])
    y = np.concatenate([photo.real for photo in photos])
    held = np.array(WEIGHTS)
    bounds = [(None, None)] + [(0, None) if w > 0 else (None, 0) for w in held[1:]]

    def loss(w: Floats) -> tuple[float, Floats]:
        score = x @ w
        off = w - held
        value = float(np.logaddexp(0, score).sum() - (y * score).sum() + _HELD * off @ off)
        return value, x.T @ (expit(score) - y) + 2 * _HELD * off

    return np.asarray(minimize(loss, held, jac=True, method="L-BFGS-B", bounds=bounds).x)


def look_at(fits: Discs, plane: Plane, holes: Sequence[dict[str, Any]]) -> Discoveries:
    """Tell which discs of a photo are holes; those that may be either are left out."""
    sure = expit(looks(fits) @ np.array(WEIGHTS))
    order = distinct(fits, sure)
    px = np.array([[hole["x_px"], hole["y_px"]] for hole in holes], float).reshape(-1, 2)
    mm = plane.to_mm(px) if len(px) else px
    away = np.hypot(*(fits.centre_mm[order][:, None] - mm[None]).transpose(2, 0, 1))
    plain = np.array(
        [
            hole["state"] == "open" and not hole.get("overlaps") and hole["point"] == "round"
            for hole in holes
        ],
        bool,
    )
    real = (away[:, plain] < _NEAR_MM).any(axis=1)
    left_out = (away[:, ~plain] < _OTHERS_MM).any(axis=1)
    left_out |= ~real & (away < _OTHERS_MM).any(axis=1)
    return Discoveries(looks(fits)[order][~left_out], real[~left_out].astype(float))


def _discoveries(path: Path) -> Discoveries | None:
    """Scan one photo and look at its discs; None where it is refused."""
    document = json.loads(path.with_suffix(".json").read_text(encoding="utf-8"))
    sheet_id = sheet_id_of(document)
    photo = read_photo(path)
    try:
        scan = scan_photo(photo, sheet=sheet_id if sheet_id.startswith("ring-") else None)
    except GroupscanError:
        return None
    width, height = scan.size_mm
    sheet = replace(get_sheet(scan.sheet), width_mm=width, height_mm=height)
    _, fits = fit_candidates(photo, scan.plane, flatten(photo, scan.plane, sheet))
    if fits is None:
        return None
    return look_at(fits, scan.plane, document["holes"])


def main(argv: Sequence[str] | None = None) -> int:
    """Fit and print; the exit code is 2 where no folder with photos is given."""
    folders = [Path(one) for one in (sys.argv[1:] if argv is None else argv)]
    paths = [path for folder in folders for path in find_cases(folder)]
    photos = [one for one in map(_discoveries, paths) if one is not None]
    if not photos:
        print("give folders of photos, each photo with a truth file beside it", file=sys.stderr)
        return 2
    report(photos)
    return 0


def report(photos: Sequence[Discoveries]) -> None:
    """Print the weights, and what they state of photos that they have not seen."""
    print("weights ", np.round(fit_weights(photos), 1).tolist())
    print("in use  ", list(WEIGHTS))
    stated = np.concatenate(
        [
            expit(one.looks @ fit_weights([*photos[:k], *photos[k + 1 :]]))
            for k, one in enumerate(photos)
        ]
    )
    now = np.concatenate([expit(one.looks @ np.array(WEIGHTS)) for one in photos])
    real = np.concatenate([one.real for one in photos])
    print("stated        by others' weights       by those in use")
    for low, high in pairwise(_BINS):
        row = [f"{low:4.2f} to {min(high, 1):4.2f}"]
        for values in (stated, now):
            here = (values >= low) & (values < high)
            mean, share = (v[here].mean() if here.any() else np.nan for v in (values, real))
            row.append(f"{here.sum():5d} {mean:6.3f} {share:6.3f}")
        print("   ".join(row))


if __name__ == "__main__":
    sys.exit(main())
