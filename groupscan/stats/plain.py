"""Results as plain values that JSON can hold."""

import dataclasses
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from groupscan.telling import retold

__all__ = ["json_safe"]


def json_safe(value: object) -> Any:
    """Return dataclasses and mappings as dicts, sequences and arrays as lists, NaN as None.

    Quantities in sentences stay in mm and m, with plain spaces: who reads JSON searches in it.

    Examples
    --------
    >>> from groupscan.stats.intervals import Estimate
    >>> json_safe({"ratio": Estimate(1.5), "n": (3, np.int64(4))})
    {'ratio': {'value': 1.5, 'low': None, 'high': None}, 'n': [3, 4]}
    >>> from groupscan.telling import tied
    >>> json_safe(f"within {tied(90, 'mm')}")
    'within 90 mm'
    """
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        named = {field.name: getattr(value, field.name) for field in dataclasses.fields(value)}
        return json_safe(named)
    if isinstance(value, Mapping):
        return {str(key): json_safe(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [json_safe(item) for item in value]
    if isinstance(value, np.ndarray | np.generic):
        return json_safe(value.tolist())
    if isinstance(value, float) and not math.isfinite(value):
        return None
    return retold(value, {}) if isinstance(value, str) else value
