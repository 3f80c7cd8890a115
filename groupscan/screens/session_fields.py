"""Fields that are asked of a session on more than one screen."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Final

from groupscan.screens.preferences import preferences
from groupscan.units import Kind, express, parse_distance, parse_quantity

__all__ = ["LONGEST_NAME", "ask_amount", "ask_distance", "ask_name"]

LONGEST_NAME: Final = 120


def ask_name(label: str, place: Any, now: str, names: Iterable[str], key: str) -> str:
    """Ask for a name: one that the records know, or a new one."""
    known = [name for name in names if name]
    if not known:  # a list of nothing to choose from hides that a name can be typed
        typed = place.text_input(
            label, now, key=f"{key}_new", max_chars=LONGEST_NAME, placeholder="type a name"
        )
        return str(typed).strip()
    chosen = place.selectbox(
        label,
        options := list(dict.fromkeys(["", *known, now])),
        index=options.index(now),
        format_func=lambda name: name or "not said",
        accept_new_options=True,
        key=key,
        help="Choose a known one or type a new one.",
    )
    return (chosen or "").strip()[:LONGEST_NAME]


def ask_distance(label: str, place: Any, now: float | None, key: str) -> Callable[[], float | None]:
    """Ask for a shooting distance; return how to read it, m, as `ask_amount` does."""
    prefer = preferences()
    shown = prefer.distance_text(now, alone=True)
    text = place.text_input(label, shown, key=key, placeholder=prefer.far, max_chars=40)

    def read() -> float | None:
        if text == shown:
            return now
        return parse_distance(text, default_unit=prefer.distance) if text.strip() else None

    return read


def ask_amount(
    label: str, place: Any, now: float | None, kind: Kind, unit: str, key: str
) -> Callable[[], float | None]:
    """Ask for an amount in any unit; return how to read it, to the last digit where it stays.

    A number without a unit is in `unit`, in which the amount is shown.
    """
    shown = "" if now is None else express(now, kind, unit)
    example = "12" if kind == "temperature" else "3"
    example = express(parse_quantity(example, kind, default_unit=unit), kind, unit)
    text = place.text_input(label, shown, key=key, placeholder=example, max_chars=40)

    def read() -> float | None:
        if text == shown:
            return now
        return parse_quantity(text, kind, default_unit=unit) if text.strip() else None

    return read
