"""Results as JSON-safe values."""

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

__all__ = ["plain", "plain_fields"]


def plain(value: Any) -> Any:
    """Return dataclasses, arrays and numbers as JSON-safe values: None for what is not known.

    Examples
    --------
    >>> plain({"a": np.array([1.0, np.nan]), "b": (np.int64(2), "c")})
    {'a': [1.0, None], 'b': [2, 'c']}
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return plain_fields(value)
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return value


def plain_fields(result: Any) -> dict[str, Any]:
    """Return a dataclass's fields as JSON-safe values; private ones stay private.

    Examples
    --------
    >>> from groupscan.stats.intervals import Estimate
    >>> plain_fields(Estimate(1.0))
    {'value': 1.0, 'low': None, 'high': None}
    """
    names = [f.name for f in dataclasses.fields(result) if not f.name.startswith("_")]
    return {name: plain(getattr(result, name)) for name in names}
