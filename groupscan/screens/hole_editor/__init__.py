"""The hole editor: a photo with holes to drag, add, remove, number and label.

A component of our own on Streamlit's components v2: ``editor.html`` and ``editor.css`` are its
face; ``model.js`` (holes and undo), ``view.js`` (zoom and drawing) and ``editor.js`` (gestures and
the wire) are joined to one script, so that no build step is needed.

The wire: Python sends points under a revision, the page answers each finished gesture with one
`Edit` that names the revision it started from. Python overrules the page only with a new revision.
As long as what Python sends stays the same to the byte, Streamlit sends it once; so callers keep
sending the points they *started* from, and the photo does not travel again with every edit.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from importlib.resources import files
from typing import Any, Final

import streamlit as st

from groupscan.report.palette import ON_PHOTO

__all__ = [
    "CORNER_MARKS",
    "LENGTH_MARKS",
    "Edit",
    "EditedPoint",
    "EditorPoint",
    "LabelDefaults",
    "MarkPrompts",
    "data_uri",
    "edit_from_state",
    "hole_editor",
    "preview_jpeg",
]

PREVIEW_PX: Final = 2400  # the longer side of the photo as shown; holes are still several px wide
_QUALITY: Final = 85


@dataclass(frozen=True)
class EditorPoint:
    """One hole as the editor shows it; positions in pixels of the upright photo.

    ``auto`` is where the scan found it, None for a hole added by hand; ``r`` the hole's radius;
    ``doubt`` draws it dashed; ``note`` is plain text; ``why`` says why it is a flyer.
    """

    id: str
    x: float
    y: float
    auto: tuple[float, float] | None = None
    r: float = 0.0
    head: str = ""
    arrow: str = ""
    flyer: bool = False
    why: str = ""
    removed: bool = False
    doubt: bool = False
    note: str = ""


@dataclass(frozen=True)
class EditedPoint:
    """One point as the page reports it; an id that begins with ``u`` was made in the page."""

    id: str
    x: float
    y: float
    head: str = ""
    arrow: str = ""
    flyer: bool = False
    why: str = ""
    removed: bool = False


@dataclass(frozen=True)
class Edit:
    """The page after one finished gesture; `ordered` where its points stand in the order shot."""

    image_id: str
    rev: int
    points: tuple[EditedPoint, ...]
    aim: tuple[float, float] | None
    ordered: bool = False


@dataclass(frozen=True)
class LabelDefaults:
    """What labelling begins with: the last end's head, and its arrows in the order shot."""

    head: str = ""
    arrows: tuple[str, ...] = ()


@dataclass(frozen=True)
class MarkPrompts:
    """Scale marks to set by hand: a short name and a phrase ("Tap ...") for each."""

    names: tuple[str, ...]
    prompts: tuple[str, ...]


LENGTH_MARKS: Final = MarkPrompts(
    ("A", "B"), ("one end of the known length", "the other end of the known length")
)
CORNER_MARKS: Final = MarkPrompts(
    ("1", "2", "3", "4"),
    (
        "the top left corner of the rectangle",
        "its top right corner",
        "its bottom right corner",
        "its bottom left corner",
    ),
)


_NO_DEFAULTS: Final = LabelDefaults()


def _text(name: str) -> str:
    return files(__name__).joinpath(name).read_text(encoding="utf-8")


def _stylesheet() -> str:
    colours = "".join(f"--he-{name}:{value};" for name, value in asdict(ON_PHOTO).items())
    return f".he{{{colours}}}\n{_text('editor.css')}"


_mount = st.components.v2.component(
    "groupscan_hole_editor",
    html=_text("editor.html"),
    css=_stylesheet(),
    js="\n".join(_text(name) for name in ("model.js", "view.js", "editor.js")),
)


def preview_jpeg(rgb: Any, *, longest_px: int = PREVIEW_PX) -> bytes:
    r"""Return the photo as a JPEG for the screen: smaller, and without what a phone wrote in it.

    Parameters
    ----------
    rgb : (h, w, 3) uint8 array
        The upright photo.
    longest_px : int
        Longest side of the result.

    Examples
    --------
    >>> import numpy as np
    >>> preview_jpeg(np.zeros((30, 40, 3), np.uint8))[:3]
    b'\xff\xd8\xff'
    """
    from PIL import Image

    picture = Image.fromarray(rgb)
    picture.thumbnail((longest_px, longest_px), reducing_gap=2.0)
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=_QUALITY)
    return buffer.getvalue()


def data_uri(jpeg: bytes) -> str:
    """Return a JPEG as a ``data:`` URI; it needs no address that others could open."""
    return "data:image/jpeg;base64," + base64.b64encode(jpeg).decode("ascii")


def edit_from_state(value: Any) -> Edit | None:
    """Read what the page sent; None if there is nothing or if it makes no sense.

    The page is not trusted: text is cut to length and anything that is no finite number is
    refused.

    Examples
    --------
    >>> point = {"id": "u1", "x": 3.0, "y": 4.0, "head": "", "arrow": "A7", "removed": False}
    >>> edit_from_state({"image_id": "p", "rev": 0, "points": [point], "aim": None}).points[0].arrow
    'A7'
    >>> edit_from_state({"image_id": "p", "rev": 0, "points": [{"id": "u1"}]}) is None
    True
    """
    try:
        points = tuple(
            EditedPoint(
                id=str(p["id"])[:40],
                x=_finite(p["x"]),
                y=_finite(p["y"]),
                head=str(p.get("head") or "").strip()[:40],
                arrow=str(p.get("arrow") or "").strip()[:20],
                flyer=bool(p.get("flyer")),
                why=str(p.get("why") or "").strip()[:120] if p.get("flyer") else "",
                removed=bool(p.get("removed")),
            )
            for p in value["points"]
        )
        aim = value.get("aim")
        return Edit(
            image_id=str(value["image_id"]),
            rev=int(value["rev"]),
            points=points,
            aim=None if aim is None else (_finite(aim["x"]), _finite(aim["y"])),
            ordered=bool(value.get("ordered")),
        )
    except (TypeError, KeyError, ValueError, AttributeError):
        return None


def _finite(value: Any) -> float:
    number = float(value)
    if not abs(number) < 1e6:
        raise ValueError("not a place in a photo")
    return number


def hole_editor(
    src: str,
    points: Sequence[EditorPoint],
    *,
    key: str,
    image_id: str,
    size_px: tuple[int, int],
    rev: int,
    lineage: int = 0,
    ordered: bool = False,
    aim_px: tuple[float, float] | None = None,
    aims_px: Sequence[tuple[float, float]] = (),
    radius_px: float = 0.0,
    expected: int | None = None,
    heads: Sequence[str] = (),
    defaults: LabelDefaults = _NO_DEFAULTS,
    outlines_px: Sequence[Sequence[tuple[float, float]]] = (),
    marks: MarkPrompts | None = None,
    on_edit: Callable[[], None] = lambda: None,
) -> Edit | None:
    """Show the photo with its holes and return the latest edit, or None.

    Parameters
    ----------
    src : str
        Address of the picture, such as `data_uri` makes it.
    points : sequence of EditorPoint
        The holes in shooting order, or the marks set so far, in pixels of the full photo.
    key : str
        Widget key; one for each photo. ``st.session_state[key]["edit"]`` holds the raw edit.
    image_id : str
        Identity of the photo.
    size_px : (int, int)
        Width and height of the full photo, whatever size is shown.
    rev : int
        Revision of `points`: a new one makes the page take them.
    lineage : int
        Where it stays the same, the points keep their names over revisions, and the page can undo
        what a new revision changed.
    ordered : bool
        Whether the points are known to stand in the order shot.
    aim_px : tuple of float, optional
        The aim.
    aims_px : sequence of tuple of float
        Aims printed on the sheet, on which a dragged aim settles.
    radius_px : float
        Radius of a hole of the shaft that was shot, for holes added by hand.
    expected : int, optional
        Arrows shot, to compare with the holes there are.
    heads : sequence of str
        Heads to offer when labelling.
    defaults : LabelDefaults
        What labelling begins with.
    outlines_px : sequence of sequences of (float, float)
        Closed outlines that show where the sheet was seen.
    marks : MarkPrompts, optional
        Set scale marks instead of holes.
    on_edit : callable
        Called when a gesture is finished.

    Returns
    -------
    Edit or None
        None before the first gesture.
    """
    label = (
        "Photo on which to set scale marks. Arrow keys move the chosen mark."
        if marks
        else "Photo with holes. N chooses the next hole, arrow keys move it, Delete removes it, "
        "A adds holes by clicking, F marks flyers, Ctrl+Z undoes."
    )
    result = _mount(
        key=key,
        data={
            "src": src,
            "image_id": image_id,
            "width": size_px[0],
            "height": size_px[1],
            "mode": "marks" if marks else "holes",
            "marks": asdict(marks) if marks else None,
            "points": [asdict(point) for point in points],
            "aim": None if aim_px is None else {"x": aim_px[0], "y": aim_px[1]},
            "aims": [{"x": x, "y": y} for x, y in aims_px],
            "radius": radius_px,
            "expected": expected,
            "heads": list(heads),
            "defaults": {"head": defaults.head, "arrows": list(defaults.arrows)},
            "outlines": [[list(xy) for xy in outline] for outline in outlines_px],
            "rev": rev,
            "lineage": lineage,
            "ordered": ordered,
            "label": label,
        },
        default={"edit": None},
        on_edit_change=on_edit,
    )
    return edit_from_state(result.edit)
