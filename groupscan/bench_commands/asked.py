"""A rig as the options of a command say it, with what the records keep of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from groupscan.bench_commands.amounts import number_in
from groupscan.errors import GroupscanError
from groupscan.gear_commands.asking import records

if TYPE_CHECKING:
    from groupscan.decisions.rig_bench import (
        Air,
        Drag,
        KeptPins,
        KeptReadings,
        KeptSpeed,
        KnownRig,
    )
    from groupscan.rigs.chronograph import Chronograph

__all__ = ["Asked", "speed_notes"]


@dataclass(frozen=True)
class Asked:
    """A rig as the options say it.

    Attributes
    ----------
    known : KnownRig
    air : Air
    speeds_mps : tuple of float
        Readings of a chronograph; empty where none were given.
    speed_at_m : float
        From the string to the chronograph.
    drag_text : str or None
    head_area_mm2 : float
    home : Path or None
    rig, shooter, build : str or None
        Names that choose shots of the records.
    on : date or None
        The day whose setup counts; None for today.
    units : {'archery', 'si'}
    as_json : bool
    """

    known: KnownRig
    air: Air
    speeds_mps: tuple[float, ...]
    speed_at_m: float
    drag_text: str | None
    head_area_mm2: float
    home: Path | None
    rig: str | None
    shooter: str | None
    build: str | None
    on: date | None
    units: Literal["archery", "si"]
    as_json: bool

    def drag(self, speed_mps: float | None = None, *, mass_g: float | None = None) -> Drag:
        """Return the drag of the arrow, or of one like it of another mass."""
        from groupscan.decisions.rig_bench import drag_of, with_parts

        text = (self.drag_text or "").strip().casefold()
        cd: Any = None
        per_m = None
        if text.endswith("/m"):
            per_m = number_in(text.removesuffix("/m"), "--drag")
        elif text in ("laminar", "turbulent"):
            cd = text
        elif text:
            cd = number_in(text, "--drag")
        return drag_of(
            self.known if mass_g is None else with_parts(self.known, mass_g=mass_g),
            self.air,
            cd=cd,
            per_m=per_m,
            head_area_mm2=self.head_area_mm2,
            speed_mps=speed_mps,
        )

    def chronograph(self) -> Chronograph | None:
        """Return the launch speed that was measured, at the bow where the drag is known."""
        from groupscan.rigs.chronograph import measure_speed

        if not self.speeds_mps:
            return None
        k = None
        if self.speed_at_m:
            try:
                k = self.drag().per_m
            except ValueError:
                k = None
        return measure_speed(self.speeds_mps, distance_m=self.speed_at_m, drag_per_m=k)

    def speed(self) -> KeptSpeed:
        """Return the launch speed given, or else that of the rig's kept readings."""
        found = self.speed_known()
        if found is None:
            raise GroupscanError(
                "no launch speed: give --speed 280fps, or several readings of a chronograph, "
                '--speed "280fps,281fps,279fps"; or keep them: groupscan gear reading RIG'
            )
        return found

    def speed_known(self) -> KeptSpeed | None:
        """Return the launch speed given or kept; None where neither tells it."""
        from groupscan.decisions.rig_bench import KeptSpeed, kept_speed

        given = self.chronograph()
        if given is not None:
            return KeptSpeed(given.speed_mps, "as given", given)
        kept = self.readings()
        if kept is None:
            return None
        try:
            return kept_speed(kept, self.known)
        except ValueError:
            return None

    def setup_day(self) -> str | None:
        """Return the first day of the setup that was asked for; None where none was."""
        from groupscan.gear_commands.finding import one
        from groupscan.records.store import list_setups

        if self.on is None or self.rig is None:
            return None
        with records(self.home) as store:
            row = one(store, "rig", self.rig, shooter=self.shooter)
            since = list_setups(store, row["id"])["since"].dt.date
        held = since[since <= self.on]
        if held.empty:
            raise GroupscanError(
                f"{self.rig} has no setup of {self.on}: its first is of {since.min()}"
                if len(since)
                else f"{self.rig} has no setup: groupscan gear setup adds one"
            )
        return str(held.iloc[-1])

    def readings(self) -> KeptReadings | None:
        """Return the readings that the records keep of the rig; None without a rig of theirs."""
        from groupscan.decisions.rig_bench import kept_readings
        from groupscan.gear_commands.finding import one

        if self.rig is None:
            return None
        with records(self.home) as store:
            row = one(store, "rig", self.rig, shooter=self.shooter)
            return kept_readings(store, row["id"], on=self.on)

    def pins(self) -> KeptPins | None:
        """Return the pins that the records keep of the rig; None without any."""
        from groupscan.decisions.rig_bench import kept_pins
        from groupscan.gear_commands.finding import one

        if self.rig is None:
            return None
        with records(self.home) as store:
            row = one(store, "rig", self.rig, shooter=self.shooter)
            return kept_pins(store, row["id"], on=self.on)


def speed_notes(shot: KeptSpeed) -> tuple[str, ...]:
    """Say where a launch speed comes from that was not given."""
    if shot.basis == "as given":
        return ()
    many = "" if shot.measured is None else f", {shot.measured.n} readings"
    return (f"Launch speed of the records: {shot.basis}{many}.",)
