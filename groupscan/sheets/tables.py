"""A TOML table read strictly: every key asked for by type, and none left over."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from typing import Any

from groupscan.errors import SheetError

__all__ = ["Table"]

_COLOUR = re.compile(r"#[0-9a-fA-F]{6}")
_LARGEST_MM = 5000.0


class Table:
    """A TOML table that knows its place and which of its keys were asked for."""

    def __init__(self, values: object, where: str) -> None:
        if not isinstance(values, Mapping):
            raise SheetError(f"{where}: expected a table of keys, got {values!r}")
        self.values = values
        self.where = where
        self.asked: set[str] = set()

    def fail(self, key: str, rule: str) -> SheetError:
        """Return the error that names the key, the rule and the value."""
        return SheetError(f'{self.where}: "{key}" {rule}, got {self.values.get(key)!r}')

    def has(self, key: str) -> bool:
        """Say whether the key is there, and count it as known."""
        self.asked.add(key)
        return key in self.values

    def raw(self, key: str) -> Any:
        """Return the value of a key that must be there."""
        if not self.has(key):
            raise SheetError(f'{self.where}: the key "{key}" is missing; add it')
        return self.values[key]

    def text(self, key: str, default: str | None = None) -> str:
        """Return a text."""
        if default is not None and not self.has(key):
            return default
        value = self.raw(key)
        if not isinstance(value, str):
            raise self.fail(key, "must be text in quotes")
        return value

    def colour(self, key: str, default: str | None = None) -> str:
        """Return a colour as ``"#rrggbb"`` in lower case."""
        value = self.text(key, default)
        if not _COLOUR.fullmatch(value):
            raise self.fail(key, 'must be a colour written "#rrggbb"')
        return value.lower()

    def number(self, key: str, default: float | None = None, *, least: float = -math.inf) -> float:
        """Return a number of millimetres."""
        if default is not None and not self.has(key):
            return default
        value = self.raw(key)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise self.fail(key, "must be a number of millimetres")
        if not math.isfinite(value) or not least <= value <= _LARGEST_MM:
            raise self.fail(key, f"must lie between {max(least, -_LARGEST_MM):g} and 5000 mm")
        return float(value)

    def positive(self, key: str) -> float:
        """Return a number of millimetres above 0."""
        value = self.number(key, least=0.0)
        if value == 0:
            raise self.fail(key, "must be more than 0 mm")
        return value

    def whole(self, key: str) -> int:
        """Return a whole number."""
        value = self.raw(key)
        if isinstance(value, bool) or not isinstance(value, int):
            raise self.fail(key, "must be a whole number")
        return value

    def items(self, key: str) -> list[Any]:
        """Return a list, empty if the key is not there."""
        if not self.has(key):
            return []
        value = self.values[key]
        if not isinstance(value, list):
            raise self.fail(key, "must be a list")
        return value

    def tables(self, key: str) -> list[Table]:
        """Return the tables of an array of tables."""
        return [Table(v, f"{self.where}, {key} {k}") for k, v in enumerate(self.items(key), 1)]

    def points(self, key: str) -> tuple[tuple[float, float], ...]:
        """Return a list of [x, y] pairs in mm."""
        points = []
        for item in self.items(key):
            good = isinstance(item, list) and len(item) == 2
            if not good or not all(
                isinstance(v, int | float) and not isinstance(v, bool) and math.isfinite(v)
                for v in item
            ):
                raise self.fail(key, "must be a list of [x, y] pairs in mm")
            points.append((float(item[0]), float(item[1])))
        return tuple(points)

    def finish(self) -> None:
        """Refuse keys that nobody asked for."""
        unknown = sorted(set(self.values) - self.asked)
        if unknown:
            known = ", ".join(sorted(self.asked))
            raise SheetError(
                f'{self.where}: the key "{unknown[0]}" is not known; the keys here are {known}'
            )
