"""How the commands of the bench answer: tables with notes and a caution, or JSON."""

from __future__ import annotations

import json
import re
from collections.abc import Container, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from groupscan.errors import GroupscanError

if TYPE_CHECKING:
    from groupscan.bench_commands.asked import Asked

__all__ = ["answer", "write_pdf"]


def answer(
    asked: Asked,
    frames: Mapping[str, tuple[str, Any, int]],
    *,
    said: Iterable[str] = (),
    notes: Iterable[str] = (),
    caution: str,
    heads: Mapping[str, str] | None = None,
    chooses: Container[str] = ("head", "build", "setup"),
    **more: Any,
) -> None:
    """Print tables with what is said before and noted after, or all of it as one JSON object.

    Parameters
    ----------
    asked : Asked
    frames : mapping
        Key in the JSON: title, table, how many of its columns are words. Empty tables are left
        out of what is printed.
    said : iterable of str
        Sentences before the tables.
    notes : iterable of str
    caution : str
    heads : mapping, optional
        What stands over columns of tables with a unit in each row.
    chooses : container of str
        Columns of the shots that the command has an option to choose by: notes point to no other.
    **more
        Further keys of the JSON.
    """
    notes = tuple(dict.fromkeys(_pointing(note, chooses) for note in notes))
    if asked.as_json:
        from groupscan.stats.plain import json_safe

        told = {key: frame.to_dict("records") for key, (_, frame, _) in frames.items()}
        whole = {**more, **told, "notes": list(notes), "caution": caution}
        typer.echo(json.dumps(json_safe(whole), allow_nan=False))
        return
    from rich.console import Console

    from groupscan.report.decisions import caution_part, notes_part, rig_table
    from groupscan.report.decisions.layout import line

    console = Console()
    for sentence in said:
        console.print(line(sentence))
    for title, frame, words in frames.values():
        if len(frame):
            console.print(rig_table(title, frame, asked.units, words=words, heads=heads))
    for part in (*notes_part(notes), caution_part(caution)):
        console.print(part)


def write_pdf(out: Path, data: bytes) -> None:
    """Write a page to print."""
    try:
        out.write_bytes(data)
    except OSError as err:
        raise GroupscanError(f"{out} cannot be written: {err.strerror or err}") from err


def _pointing(note: str, chooses: Container[str]) -> str:
    """Return a note on pooled shots without the option that chooses one, where there is none."""
    return re.sub(
        r"; --(\w+) chooses one", lambda found: found[0] if found[1] in chooses else "", note
    )
