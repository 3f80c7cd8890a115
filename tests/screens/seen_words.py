"""All that a page lets its reader read, on a screen driven without a browser."""

import json
import re
from html import unescape

# Of a Plotly figure: what is drawn as words or shown when touched.
_IN_FIGURES = {"text", "hovertext", "hovertemplate", "name"}
# Which units there are to choose from is no measurement.
_CHOICE = "Read in"


def words_seen(at):
    """Return the words of a page, one string an element, without the marks of Markdown."""
    seen = []
    for box in _boxes(at):
        proto = getattr(box, "proto", None)
        for field in ("body", "label", "help", "placeholder", "default", "value"):
            if isinstance(text := getattr(proto, field, None), str):
                seen.append(text)
        if getattr(proto, "label", "") != _CHOICE:
            seen += [one if isinstance(one, str) else one.content for one in _options(proto)]
        if spec := getattr(getattr(proto, "figure", None), "spec", "") or getattr(
            proto, "spec", ""
        ):
            seen += _drawn(json.loads(spec))
    return [unescape(re.sub(r"\\(.)", r"\1", text)) for text in seen if text]


def _options(proto):
    return list(getattr(proto, "options", ()))


def _boxes(node):
    for child in getattr(node, "children", {}).values():
        yield child
        yield from _boxes(child)
    if hasattr(node, "main"):
        yield from _boxes(node.main)


def _drawn(spec):
    for key, value in spec.items() if isinstance(spec, dict) else enumerate(spec):
        if isinstance(value, dict | list):
            if key in _IN_FIGURES and isinstance(value, list):
                yield from (one for one in value if isinstance(one, str))
            else:
                yield from _drawn(value)
        elif key in _IN_FIGURES and isinstance(value, str):
            yield value
