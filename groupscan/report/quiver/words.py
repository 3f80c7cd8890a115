"""Numbered arrows in a coach's words: the sentence, what to do, the rows of the table."""

from __future__ import annotations

import math
from collections.abc import Sequence

from groupscan.report.quiver.scene import KINDS, ArrowMark, QuiverScene, kind_of
from groupscan.report.words import SIDES, Unit, bare_number, express, express_sides
from groupscan.stats.arrows import Arrow, Quiver
from groupscan.stats.intervals import Estimate

__all__ = ["arrow_numbers", "arrow_rows", "listed", "quiver_sentence", "todo_lines", "told_of"]


def listed(names: Sequence[str]) -> str:
    """Return names as they are said: ``"4, 6 and 7"``.

    Examples
    --------
    >>> listed(["4", "6", "7"]), listed(["4"])
    ('4, 6 and 7', '4')
    """
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def _arrows(marks: Sequence[ArrowMark]) -> str:
    return f"arrow{'s' if len(marks) > 1 else ''} {listed([mark.name for mark in marks])}"


def _upper(words: str) -> str:
    return words[:1].upper() + words[1:]


def quiver_sentence(
    scene: QuiverScene, quiver: Quiver, unit: Unit = "mm", *, distance_m: float | None = None
) -> str:
    """Say in one sentence what the arrows show and what to do.

    Parameters
    ----------
    scene : QuiverScene
    quiver : Quiver
        What the scene was made from.
    unit : {"mm", "inch", "moa", "mrad"}
    distance_m : float, optional
        Shooting distance, m; angles need it.

    Examples
    --------
    >>> from groupscan.report.quiver.scene import quiver_scene
    >>> from groupscan.stats.arrows import measure_arrows
    >>> one = measure_arrows([(0, 0), (1, 2)], ["7", "7"])
    >>> quiver_sentence(quiver_scene(one), one)
    'Only arrow 7 has shots here: shoot it in ends with others to see whether it flies with them.'
    """
    marks = scene.marks
    if len(marks) == 1:
        return (
            f"Only arrow {marks[0].name} has shots here: shoot it in ends with others to see "
            "whether it flies with them."
        )
    places = {arrow.name: place for place, arrow in enumerate(quiver.arrows)}
    marks = tuple(sorted(marks, key=lambda mark: places[mark.name]))
    live = [mark for mark in marks if not mark.out_of_use]
    pull = [mark for mark in live if mark.kind == "scatters"]
    turn = [mark for mark in live if mark.kind == "apart"]
    away = [mark for mark in marks if mark.out_of_use and mark.kind in ("scatters", "apart")]
    if pull or turn:
        todo = []
        if pull:
            todo.append(f"pull {_arrows(pull)} and look over shaft, point, nock and vanes")
        if turn:
            todo.append(f"turn the nock of {_arrows(turn)} to the next vane and shoot again")
        return f"{_upper('; '.join(todo))}."
    done = ""
    if away:
        verb = "are" if len(away) > 1 else "is"
        done = f"{_upper(_arrows(away))} did not fly with the others and {verb} out of use. "
    unsure = [mark for mark in live if mark.kind == "open"]
    if not unsure:
        worth = express(Estimate(quiver.worth_mm), unit, distance_m=distance_m)
        if not live:
            return f"{done}No arrow shown here is in use any more."
        if len(live) == 1:
            return f"{done}Keep {_arrows(live)}: it flies with the others, to within {worth}."
        rest = "the rest" if len(live) < len(marks) else "them all"
        return f"{done}Keep {rest}: {_arrows(live)} fly together, to within {worth}."
    more = [arrow.more_ends for arrow in quiver.arrows if arrow.more_ends is not None]
    enough = f" About {max(more)} more ends of the whole set would tell." if more else (
        " Shoot all of them in two ends or more."
    )  # fmt: skip
    return (
        f"{done}No arrow is known to be odd, but of {_arrows(unsure)} too little is known yet: "
        f"leave them as they are.{enough}"
    )


def todo_lines(
    quiver: Quiver, scene: QuiverScene, unit: Unit = "mm", *, distance_m: float | None = None
) -> list[str]:
    """Return a line for each flagged arrow: what it does, and what to do with it.

    What to do is common practice (no source).
    """
    marks = {mark.name: mark for mark in scene.marks}
    lines = []
    for arrow in quiver.arrows:
        if arrow.action == "none":
            continue
        told = []
        if arrow.verdict == "apart":
            at = (arrow.seen_x, arrow.seen_y)
            told.append(f"lands {_place(at, unit, distance_m)} from the others")
        if arrow.action == "pull":
            told.append(f"scatters {arrow.scatter_ratio:.1f} times as widely as they do")
        mark = marks[arrow.name]
        if mark.out_of_use:
            then = f"It is {mark.state} already."
        elif arrow.action == "pull":
            then = "Pull it, and look over shaft, point, nock and vanes."
        else:
            then = (
                "Turn its nock to the next vane and shoot it again; if it stays apart, pull it, "
                "and look over shaft, point, nock and vanes."
            )
        lines.append(f"Arrow {arrow.name} {' and '.join(told)}. {then}")
    return lines


def _place(at: tuple[Estimate, Estimate], unit: Unit, distance_m: float | None) -> str:
    parts = [
        express_sides(one, unit, sides, distance_m=distance_m).split(" (")[0]
        for one, sides in zip(at, SIDES.values(), strict=True)
    ]
    return " and ".join(parts)


def arrow_rows(
    scene: QuiverScene, quiver: Quiver, unit: Unit = "mm", *, distance_m: float | None = None
) -> list[tuple[str, ...]]:
    """Return the rows of the table, in the scene's order.

    Returns
    -------
    list of tuple of str
        Arrow with its state, sideways and height with their intervals, shots and what is known.
    """
    by_name = {arrow.name: arrow for arrow in quiver.arrows}
    rows: list[tuple[str, ...]] = []
    for mark in scene.marks:
        state = f", {mark.state}" if mark.state not in ("", "in use") else ""
        rows.append((mark.name + state, *told_of(by_name[mark.name], unit, distance_m=distance_m)))
    return rows


def arrow_numbers(
    scene: QuiverScene, unit: Unit = "mm", *, distance_m: float | None = None
) -> list[tuple[str, ...]]:
    """Return the rows of a table that has little room, in the scene's order.

    Returns
    -------
    list of tuple of str
        Arrow, how far to the right and high with their intervals and no unit, and what is known.
    """
    return [
        (
            mark.name,
            *(bare_number(one, unit, distance_m=distance_m) for one in (mark.x, mark.y)),
            mark.state if mark.out_of_use else KINDS[mark.kind],
        )
        for mark in scene.marks
    ]


def told_of(
    arrow: Arrow, unit: Unit = "mm", *, distance_m: float | None = None
) -> tuple[str, str, str]:
    """Return where an arrow lands sideways and in height, with intervals, and what is known."""
    sideways, height = (
        express_sides(one, unit, sides, distance_m=distance_m)
        for one, sides in zip((arrow.seen_x, arrow.seen_y), SIDES.values(), strict=True)
    )
    known = KINDS[kind_of(arrow)]
    if math.isnan(arrow.seen_x.value):
        known = "never shot beside another"
    elif (ends := arrow.more_ends) is not None:
        known += f" ({ends} more end{'' if ends == 1 else 's'})"
    return sideways, height, f"{known}; {arrow.shots} shot{'' if arrow.shots == 1 else 's'}"
