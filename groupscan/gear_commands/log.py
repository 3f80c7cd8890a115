"""What was corrected: newest first, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, Any

import typer

from groupscan.gear_commands.asking import AMOUNTS, Home, records, value_words
from groupscan.gear_commands.finding import rows_of
from groupscan.gear_commands.telling import field_words, show, table

if TYPE_CHECKING:
    from groupscan.records.store import Store

__all__ = ["log"]

#: References as the log tells them, by what they refer to.
_REFERENCES: Mapping[str, str] = {
    **{name: name for name in ("shooter", "rig", "setup", "build", "arrow", "head", "session")},
    **{"scan": "scan", "coach": "shooter", "first": "arrow"},
}
_WORDS: Mapping[str, str] = {"scan": "end", "shot_order": "order"}


def log(
    last: Annotated[
        int, typer.Option(metavar="N", min=1, max=1000, help="How many, the newest first.")
    ] = 30,
    home: Home = None,
) -> None:
    """Tell who corrected what and when: what it was, and what it became."""
    with records(home) as store:
        from groupscan.records.store import list_corrections

        rows = rows_of(list_corrections(store).head(last))
        names = _names(store, rows)
    cells = [
        (
            f"{row['at'].tz_convert(None).to_pydatetime():%Y-%m-%d %H:%M}",
            row["actor"],
            names.get(row["entry_uid"], f"a {_WORDS.get(row['entry'], row['entry'])}"),
            _change(row, names),
        )
        for row in rows
    ]
    heads = ("when (UTC)", "who", "what", "change")
    show([table("Corrections", heads, cells)], nothing="Nothing was corrected yet.")


def _names(store: Store, rows: list[dict[str, Any]]) -> dict[str, str]:
    """Return what each entry is called that the lines are of or refer to."""
    from groupscan.records.titles import titles

    wanted: dict[str, set[str]] = {}
    for row in rows:
        wanted.setdefault(row["entry"], set()).add(row["entry_uid"])
        for side in (row["before"], row["after"]):
            for name, value in side.items():
                if name in _REFERENCES and isinstance(value, str):
                    wanted.setdefault(_REFERENCES[name], set()).add(value)
    return titles(store, wanted)


def _change(row: Mapping[str, Any], names: Mapping[str, str]) -> str:
    before, after = row["before"], {} if row["entry"] == "import" else row["after"]
    told = [
        f"{_WORDS.get(name, field_words(name))}: {_told(name, before.get(name), names)} → "
        f"{_told(name, after.get(name), names)}"
        for name in after
    ]
    return "; ".join(told) if told else str(row["action"])


def _told(name: str, value: Any, names: Mapping[str, str]) -> str:
    if name in _REFERENCES and value:
        return names.get(value, "one that is not here").removeprefix(f"{_REFERENCES[name]} ")
    if isinstance(value, list | dict):
        return f"{len(value)} values"
    if isinstance(value, float) and name not in AMOUNTS:
        return f"{value:.1f}" if name.endswith("_mm") else f"{value:.4g}"
    return value_words(name, value)
