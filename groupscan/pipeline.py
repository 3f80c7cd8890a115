"""The main line: photo to scan, scan to group, scan to record. The only place that joins rooms."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from groupscan.aims import nearest_aims
from groupscan.photo.marks.hand import KnownLength, KnownRectangle
from groupscan.photo.reading import Photo, read_photo
from groupscan.photo.scan import Hole, Scan, scan_photo
from groupscan.sheets.catalogue import Sheet
from groupscan.stats.group import Group, measure_group

if TYPE_CHECKING:
    from groupscan.records.entries import ScanRecord
    from groupscan.records.store import Store

__all__ = ["ScanFile", "group_of", "record_of", "save_end", "scan_to_dict", "shots_of"]


@dataclass(frozen=True)
class ScanFile:
    """How to scan photo files: call it with a path. It can be sent to another process.

    Attributes
    ----------
    sheet, shaft_mm, arrows, hand_marks, before, before_marks
        As `scan_photo` takes them.
    distance_m : float, optional
        As `group_of` takes it.
    """

    sheet: Sheet | None = None
    shaft_mm: float | None = None
    arrows: int | None = None
    hand_marks: KnownLength | KnownRectangle | None = None
    before: Photo | None = None
    before_marks: KnownLength | KnownRectangle | None = None
    distance_m: float | None = None

    def __call__(self, path: Path) -> tuple[Scan, Group | None]:
        """Read and scan one photo, and measure its group."""
        scan = scan_photo(
            read_photo(path),
            sheet=self.sheet,
            shaft_mm=self.shaft_mm,
            arrows=self.arrows,
            hand_marks=self.hand_marks,
            before=self.before,
            before_marks=self.before_marks,
        )
        return scan, group_of(scan, distance_m=self.distance_m)


def shots_of(scan: Scan) -> tuple[Hole, ...]:
    """Return the holes that count as shots: all that are not patched over."""
    return tuple(hole for hole in scan.holes if hole.state != "patched")


def group_of(
    scan: Scan,
    *,
    aim_mm: tuple[float, float] | None = None,
    distance_m: float | None = None,
) -> Group | None:
    """Measure the group that a scan shows.

    Parameters
    ----------
    scan : Scan
    aim_mm : (float, float), optional
        Point of aim, sheet mm. Left out: the sheet's only aim, or where there are several each
        shot's nearest one, the shots then being laid over one another.
    distance_m : float, optional
        Distance shot from, m; angles need it.

    Returns
    -------
    Group or None
        None where there are no shots. With one point of aim in sheet mm, with several in mm
        from each shot's own.
    """
    shots = shots_of(scan)
    if not shots:
        return None
    xy = np.array([[hole.x_mm, hole.y_mm] for hole in shots])
    aims = (aim_mm,) if aim_mm is not None else scan.aims_mm or ((0.0, 0.0),)
    aim = aims[0]
    if len(aims) > 1:
        xy, aim = xy - nearest_aims(xy, aims), (0.0, 0.0)
    # The plane's own error moves all holes together, so it is no part of the group's scatter.
    common = _shared_se_mm(scan, shots)
    se = np.sqrt(np.maximum(np.array([h.se_mm for h in shots]) ** 2 - common**2, 0.0))
    # A shot is called by its hole's number, as the picture of the holes has it.
    names = [i for i, hole in enumerate(scan.holes, 1) if any(hole is shot for shot in shots)]
    return measure_group(xy, aim_mm=aim, se_mm=se, distance_m=distance_m, names=names)


def _shared_se_mm(scan: Scan, holes: Sequence[Hole]) -> NDArray[Any]:
    """Return the part of the holes' standard errors that is the plane's, (n,) mm."""
    mm = np.array([[hole.x_mm, hole.y_mm] for hole in holes]).reshape(-1, 2)
    covariance = scan.plane.position_covariance(mm)
    return np.asarray(np.sqrt(np.trace(covariance, axis1=1, axis2=2) / 2))


def scan_to_dict(scan: Scan, group: Group | None) -> dict[str, Any]:
    """Turn a scan and its group into the command line's JSON object.

    Parameters
    ----------
    scan : Scan
    group : Group or None

    Returns
    -------
    dict
        JSON-safe; keys as the README lists them.
    """
    return {
        "photo": scan.photo,
        "image_size_px": list(scan.image_size_px),
        "sheet": scan.sheet,
        "scale": {
            "source": scan.scale.source,
            "mm_per_px": scan.scale.mm_per_px,
            "mm_per_px_se": scan.scale.mm_per_px_se,
            "tilt_deg": scan.scale.tilt_deg,
            "residual_px": scan.scale.residual_px,
            "bend_mm": scan.scale.bend_mm,
        },
        "mm_to_px": scan.mm_to_px.tolist(),
        "aims": [{"x_mm": x, "y_mm": y} for x, y in scan.aims_mm],
        "holes": [_hole_to_dict(hole) for hole in scan.holes],
        "group": group.to_dict() if group is not None else None,
        "warnings": list(scan.warnings),
    }


def _hole_to_dict(hole: Hole) -> dict[str, Any]:
    return {
        "x_mm": hole.x_mm,
        "y_mm": hole.y_mm,
        "se_mm": hole.se_mm,
        "x_px": hole.x_px,
        "y_px": hole.y_px,
        "diameter_mm": hole.diameter_mm,
        "cut": hole.cut,
        "confidence": hole.confidence,
        "state": hole.state,
        "blade_mm": hole.blade_mm,
        "blade_angle_deg": hole.blade_angle_deg,
    }


def record_of(
    scan: Scan,
    *,
    session_id: int,
    photo_sha256: str,
    shaft_mm: float | None = None,
    head: str = "",
    removed: Iterable[int] = (),
) -> ScanRecord:
    """Turn a scan into a record, nothing corrected yet.

    Parameters
    ----------
    scan : Scan
    session_id : int
    photo_sha256 : str
        As `records.add_photo` gave it.
    shaft_mm : float, optional
    head : str
        Label given to every shot.
    removed : iterable of int
        Indices of holes that are kept on record but do not count.

    Returns
    -------
    ScanRecord
    """
    from groupscan.records.entries import ScanRecord, ShotRecord

    gone = set(removed)
    shared = _shared_se_mm(scan, scan.holes)
    shots = tuple(
        ShotRecord(
            number=i + 1,
            x_mm=hole.x_mm,
            y_mm=hole.y_mm,
            auto_x_mm=hole.x_mm,
            auto_y_mm=hole.y_mm,
            auto_se_mm=hole.se_mm,
            auto_shared_se_mm=float(shared[i]),
            x_px=hole.x_px,
            y_px=hole.y_px,
            se_mm=hole.se_mm,
            diameter_mm=hole.diameter_mm,
            cut=hole.cut,
            confidence=hole.confidence,
            state=hole.state,
            head=head,
            removed=i in gone,
        )
        for i, hole in enumerate(scan.holes)
    )
    # With the lens beside it; a matrix that takes part of the lens in would count it twice.
    rows = tuple((float(a), float(b), float(c)) for a, b, c in scan.plane.homography)
    return ScanRecord(
        session_id=session_id,
        photo_sha256=photo_sha256,
        photo_name=scan.photo,
        image_size_px=scan.image_size_px,
        sheet=scan.sheet,
        scale_source=scan.scale.source,
        mm_per_px=scan.scale.mm_per_px,
        mm_per_px_se=scan.scale.mm_per_px_se,
        tilt_deg=scan.scale.tilt_deg,
        residual_px=scan.scale.residual_px,
        mm_to_px=(rows[0], rows[1], rows[2]),
        lens={"k1": scan.plane.k1, "focal_px": scan.plane.focal_px},
        bend=scan.plane.bend.to_dict() if scan.plane.bend is not None else None,
        aim_mm=scan.aims_mm[0] if scan.aims_mm else (0.0, 0.0),
        aims_mm=scan.aims_mm,
        warnings=scan.warnings,
        shaft_mm=shaft_mm,
        shots=shots,
    )


def save_end(
    store: Store,
    scan: Scan,
    photo: Photo,
    data: bytes,
    *,
    session_id: int,
    head: str = "",
    shaft_mm: float | None = None,
) -> int:
    """Keep a photo and its scan as one end of a session.

    Parameters
    ----------
    store : Store
    scan : Scan
    photo : Photo
    data : bytes
        The photo's file.
    session_id : int
    head : str
        Label given to every shot.
    shaft_mm : float, optional

    Returns
    -------
    int
        The scan's id.
    """
    from groupscan.records.photos import add_photo
    from groupscan.records.store import save_scan

    height, width = photo.rgb.shape[:2]
    sha256 = add_photo(store, data, name=photo.name, size_px=(width, height))
    patched = [i for i, hole in enumerate(scan.holes) if hole.state == "patched"]
    record = record_of(
        scan,
        session_id=session_id,
        photo_sha256=sha256,
        shaft_mm=shaft_mm,
        head=head,
        removed=patched,
    )
    return save_scan(store, record)
