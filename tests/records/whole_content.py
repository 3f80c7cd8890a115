"""Records of any content that the tables allow, for tests of what must carry all of it."""

import hashlib
from contextlib import closing
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from hypothesis import strategies as st

from groupscan.records.connect import Store, writing
from groupscan.records.photos import keep_file, photo_path
from groupscan.records.schema import metadata

TEXT = st.text(st.characters(exclude_characters="\0", exclude_categories=["Cs"]), max_size=12)
HOSTILE = st.sampled_from(
    ["", r"\N", "\\", r"\\N", "=1+1", '"', '""', ",", "a\r\nb", "\r", "\n", "'", "\ufeff", " x "]
)
JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False)
    | TEXT,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXT, inner, max_size=3),
    max_leaves=6,
)  # fmt: skip


@st.composite
def contents(draw: st.DrawFn) -> tuple[dict[str, list[dict[str, Any]]], list[bytes]]:
    """Return rows for every table, and the photos that they name."""
    rows: dict[str, list[dict[str, Any]]] = {}
    photos = draw(st.lists(st.binary(min_size=1, max_size=40), max_size=3, unique=True))
    for table in metadata.sorted_tables:
        if table.name == "photo":
            keys = [{"sha256": hashlib.sha256(data).hexdigest()} for data in photos]
        else:
            ids = draw(st.lists(st.integers(1, 2**30), max_size=3, unique=True))
            uids = st.uuids().map(lambda uid: uid.hex)
            keys = [{"id": key, "uid": draw(uids)} for key in ids]
        made = [row for key in keys if (row := _row(draw, table, key, rows, keys)) is not None]
        rows[table.name] = made
    for number, shot in enumerate(rows["shot"], 1):
        shot["number"] = number  # two of one end may not share it
    return rows, photos


def fill(store: Store, rows: dict[str, list[dict[str, Any]]], photos: list[bytes]) -> None:
    """Put rows and photos into a store, past all of its functions."""
    for data in photos:
        sha256 = hashlib.sha256(data).hexdigest()
        keep_file(photo_path(store, sha256), data, root=store.photo_dir, name="a photo")
    with writing(store) as connection:
        for table in metadata.sorted_tables:
            within = [
                column.name for column in table.c
                if any(key.column.table is table for key in column.foreign_keys)
            ]  # fmt: skip
            for row in rows[table.name]:
                connection.execute(sa.insert(table), {**row, **dict.fromkeys(within)})
            for row in rows[table.name]:
                for name in within:
                    link = sa.update(table).where(table.c.id == row["id"])
                    connection.execute(link.values({name: row[name]}))


def _row(
    draw: st.DrawFn,
    table: sa.Table,
    key: dict[str, Any],
    rows: dict[str, list[dict[str, Any]]],
    own: list[dict[str, Any]],
) -> dict[str, Any] | None:
    row = dict(key)
    bounded = " ".join(
        str(one.sqltext) for one in table.constraints if isinstance(one, sa.CheckConstraint)
    )
    for column in table.c:
        if column.name in row:
            continue
        if column.foreign_keys:
            target = next(iter(column.foreign_keys)).column
            there = own if target.table is table else rows[target.table.name]
            choices = [one[target.name] for one in there if one is not key]
            if not choices and not column.nullable:
                return None
            row[column.name] = draw(st.sampled_from([*choices, *[None] * column.nullable]))
            continue
        values = _values(column, bounded=column.name in bounded)
        row[column.name] = draw(st.none() | values if column.nullable else values)
    if table.name == "scan":  # a photo goes with its size and its matrix
        whole = {"mm_to_px": [[1, 0, 0.1], [0, -1, 0], [0, 0, 1]], "width_px": 4, "height_px": 3}
        row |= whole if row["photo_sha256"] else dict.fromkeys(whole)
    if table.name == "shot" and None in (row["auto_x_mm"], row["auto_y_mm"]):
        row |= {"auto_x_mm": None, "auto_y_mm": None}
    return row


def _values(column: sa.Column[Any], *, bounded: bool) -> st.SearchStrategy[Any]:
    kind = column.type
    if isinstance(kind, sa.JSON):
        return JSON if not column.nullable else JSON.filter(lambda value: value is not None)
    if isinstance(kind, sa.Boolean):
        return st.booleans()
    if isinstance(kind, sa.Integer):
        return st.integers(1, 2**31 - 1)
    if isinstance(kind, sa.Float):
        if bounded:
            return st.floats(0, 1, exclude_min=True)
        return st.floats(allow_nan=False, allow_infinity=False)
    if isinstance(kind, sa.Date):
        return st.dates(date(1900, 1, 1), date(2200, 1, 1))
    if isinstance(kind, sa.String):
        if kind.length is not None:
            return st.uuids().map(lambda uid: uid.hex)
        return HOSTILE | TEXT
    return st.datetimes(datetime(1900, 1, 1), datetime(2200, 1, 1), timezones=st.just(UTC))


def tables_of(path: Path) -> dict[str, bytes]:
    """Return every file of an archive but its manifest, by name."""
    import zipfile

    with closing(zipfile.ZipFile(path)) as archive:
        return {name: archive.read(name) for name in archive.namelist() if name != "manifest.json"}
