"""What is known of a rig and its arrow: from the records, or as somebody says it."""

from __future__ import annotations

from dataclasses import dataclass, field, fields, replace
from datetime import date
from typing import TYPE_CHECKING, Final

from groupscan.errors import RigError
from groupscan.rigs.parts import ArrowParts
from groupscan.rigs.sight import Sight

if TYPE_CHECKING:
    from groupscan.records.entries import Build, Setup
    from groupscan.records.store import Store

__all__ = ["KnownRig", "known_build", "known_rig", "rig_of_store", "with_parts"]

# Parts whose masses add up to the arrow's, so that another one moves what the scale would read.
_ADDED: Final = ("insert_g", "collar_g", "point_g", "fletching_g", "wrap_g", "nock_g")
_KEPT_PARTS: Final = ("shaft_g_per_m", *_ADDED, "mass_g", "balance_mm")


@dataclass(frozen=True, kw_only=True)
class KnownRig:
    """A rig and the arrow it shoots; None where something is not known.

    Attributes
    ----------
    name : str
        What it is called; empty where it has no name.
    parts : ArrowParts
        What the arrow is made of, and what scale and balance say.
    shaft_mm : float, optional
        Outside diameter of the shaft, mm.
    draw_weight_n : float, optional
        Peak draw weight, N.
    radius_mm, peep_mm : float, optional
        Sight radius, and height of the peep above the arrow, mm.
    build : str
        What the build is called.
    notes : tuple of str
        What the reader should know of where this came from.
    """

    name: str = ""
    parts: ArrowParts = field(default_factory=ArrowParts)
    shaft_mm: float | None = None
    draw_weight_n: float | None = None
    radius_mm: float | None = None
    peep_mm: float | None = None
    build: str = ""
    notes: tuple[str, ...] = ()

    def mass_g(self) -> float:
        """Return the arrow's mass, g: the scale's, or without one its parts'.

        Raises
        ------
        RigError
            If neither is known.
        """
        from groupscan.rigs.build import measure_arrow

        return measure_arrow(self.parts).mass_g

    def sight(self, speed_mps: float, drag_per_m: float) -> Sight:
        """Return the rig as its sight sees it.

        Raises
        ------
        RigError
            If sight radius or peep height are not known, or cannot be.
        """
        if self.peep_mm is None or self.radius_mm is None:
            missing = "peep_mm" if self.peep_mm is None else "radius_mm"
            what = (
                "height of the peep above the arrow, about 100 mm"
                if self.peep_mm is None
                else "sight radius, from the peep to the pins, about 850 mm"
            )
            raise RigError(f"{missing} is not known: give the {what}; pins hang on it")
        return Sight(speed_mps, drag_per_m, self.peep_mm, self.radius_mm)


def known_build(build: Build) -> KnownRig:
    """Return what a build of the records says.

    Examples
    --------
    >>> from groupscan.records.entries import Build
    >>> known_build(Build(name="Reed", length_mm=730.0, mass_g=26.0)).parts.cut_mm
    730.0
    """
    parts = ArrowParts(
        cut_mm=build.length_mm, **{name: getattr(build, name) for name in _KEPT_PARTS}
    )
    return KnownRig(name=build.name, build=build.name, parts=parts, shaft_mm=build.shaft_mm)


def known_rig(name: str, setup: Setup | None, build: Build | None) -> KnownRig:
    """Return what a setup and a build of the records say of a rig."""
    known = replace(known_build(build) if build is not None else KnownRig(), name=name)
    if setup is None:
        return replace(known, notes=(f"{name} has no setup: say how it is set up.",))
    return replace(
        known,
        draw_weight_n=setup.draw_weight_n,
        radius_mm=setup.sight_radius_mm,
        peep_mm=setup.peep_height_mm,
    )


def rig_of_store(
    store: Store, rig_id: int, *, on: date | None = None, build_id: int | None = None
) -> KnownRig:
    """Return a rig of the records as it was set up on a day.

    Parameters
    ----------
    store : Store
    rig_id : int
    on : date, optional
        The day; left out: today.
    build_id : int, optional
        Another build than its setup names; one that was deleted since counts as not known.
    """
    from groupscan.records.store import get_build, get_rig, get_setup, list_builds, list_setups

    listed = list_setups(store, rig_id)  # the oldest first
    held = listed[listed["since"].dt.date <= (on or date.today())]
    setup = get_setup(store, int(held["id"].iloc[-1])) if len(held) else None
    key = build_id
    if key is None and setup is not None and setup.build_id in set(list_builds(store)["id"]):
        key = setup.build_id
    build = get_build(store, key) if key is not None else None
    return known_rig(get_rig(store, rig_id).name, setup, build)


def with_parts(known: KnownRig, **changed: float | None) -> KnownRig:
    """Return the rig with other values of its arrow's parts.

    The scale's reading goes along where a part whose mass was known is exchanged. Where it was not
    known, or the shaft is another, the reading is dropped, and so is the balance point: they were
    another arrow's. What is given of ``mass_g`` and ``balance_mm`` always stands.

    Parameters
    ----------
    known : KnownRig
    **changed : float
        Fields of `ArrowParts`, as they are to be.

    Examples
    --------
    >>> rig = KnownRig(parts=ArrowParts(point_g=6.5, mass_g=26.0))
    >>> with_parts(rig, point_g=8.1).parts.mass_g
    27.6
    """
    names = {one.name for one in fields(ArrowParts)}
    if unknown := set(changed) - names:
        raise RigError(f"{sorted(unknown)[0]} is no part of an arrow; there is {sorted(names)}")
    parts, scale = known.parts, known.parts.mass_g
    moved = {name: value for name, value in changed.items() if value != getattr(parts, name)}
    if "mass_g" not in changed and scale is not None:
        for name, value in moved.items():
            old = getattr(parts, name)
            if name in _ADDED and old is not None and scale is not None:
                scale += (value or 0.0) - old
            elif name in (*_ADDED, "shaft_g_per_m", "cut_mm"):
                scale = None
    balance = parts.balance_mm if not moved or set(moved) <= {"mass_g"} else None
    notes = known.notes
    if parts.balance_mm is not None and balance is None and "balance_mm" not in changed:
        notes += ("The balance point that was measured is left out: it was another arrow's.",)
    if parts.mass_g is not None and scale is None and "mass_g" not in changed:
        notes += ("The scale's reading is left out: it was another arrow's.",)
    kept = {"mass_g": scale, "balance_mm": balance, **changed}
    return replace(known, parts=replace(parts, **kept), notes=notes)
