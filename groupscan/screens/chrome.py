"""What every screen shares: the records, the reader's unit, plain text and the cautions."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, Final

import streamlit as st

from groupscan.errors import GroupscanError
from groupscan.report.axes import CHART_CONFIG
from groupscan.report.cautions import CAUTIONS
from groupscan.report.palette import Theme, palette
from groupscan.report.words import UNITS, Unit
from groupscan.screens.one_of import one_of
from groupscan.screens.opened import plain, records
from groupscan.screens.preferences import keep_read_unit, read_unit

__all__ = [
    "CAUTIONS",
    "asked_number",
    "on_phone",
    "page_style",
    "plain",
    "reader_theme",
    "records",
    "square_chart",
    "told",
    "unit_choice",
]

# On a phone the page's own margins would eat a tenth of the photo; Streamlit's captions are too
# faint for small print that must be read, and its main button is white on every accent. A cold
# thumb needs 44 px.
_STYLE: Final = """<style>
.block-container {{ padding-top: 4rem; padding-bottom: 3rem; max-width: 1480px; }}
h1 {{ font-size: clamp(1.5rem, 4vw, 2rem) !important; padding: .2rem 0 .4rem !important; }}
@media (max-width: 640px) {{ .block-container {{ padding: 3.6rem .7rem 2rem; }} }}
[data-testid="stCaptionContainer"] {{ opacity: 1 !important; color: {quiet} !important; }}
[data-testid^="stBaseButton-primary"]:not(:disabled) {{ color: {on_accent} !important; }}
[data-testid^="stBaseButton-"], [data-testid="stButtonGroup"] button,
[data-testid="stPopover"] button, [data-testid="stPageLink-NavLink"], [data-testid="stTopNavLink"],
[data-testid="stSidebarNavLink"], [data-testid="stExpandSidebarButton"], .stExpander summary,
[data-testid="stSelectbox"] [role="group"], [data-testid="stTextInputRootElement"],
[data-testid="stNumberInputContainer"], [data-testid="stDateInputField"],
[data-testid="stCheckbox"] label {{ min-height: 44px; }}
[data-testid="stCheckbox"] label {{ align-items: center; }}
[data-testid="stExpandSidebarButton"] {{ min-width: 44px; }}
[class*="st-key-square_"] {{ aspect-ratio: 1; }}
[data-testid="stMarkdownContainer"] table {{ width: 100%; }}
[data-testid="stMarkdownContainer"] td {{ font-variant-numeric: tabular-nums; }}
[data-testid="stMarkdownContainer"] td:first-child {{ overflow-wrap: anywhere; min-width: 4.7rem; }}
@media (max-width: 640px) {{
  [data-testid="stMarkdownContainer"] :is(td, th) {{ padding: .4rem .45rem; font-size: .92rem; }}
  [data-testid="stMarkdownContainer"] td:first-child {{ min-width: 5.6rem; }}
}}
</style>"""


def page_style() -> None:
    """Set the page's margins and small print."""
    p = palette(reader_theme())
    st.html(_STYLE.format(quiet=p.quiet, on_accent=p.on_accent))


@contextmanager
def told(*, later: str | None = None) -> Iterator[None]:
    """Tell the reader what was refused, and let the page go on.

    Parameters
    ----------
    later : str, optional
        Key of the session state under which to leave the message instead of showing it: a
        callback runs before the page and draws nothing.
    """
    try:
        yield
    except GroupscanError as err:
        if later is None:
            st.error(plain(str(err)))
        else:
            st.session_state[later] = str(err)


def asked_number(name: str) -> int | None:
    """Return the whole number that the page's address gives for a name, if it is one.

    Anybody can type an address: digits that are no decimal ones, and more of them than any id
    has, are no number here.
    """
    text = st.query_params.get(name, "")
    return int(text) if text.isdecimal() and len(text) <= 10 else None


def reader_theme() -> Theme:
    """Return whether the reader's page is light or dark."""
    return "dark" if getattr(st.context.theme, "type", None) == "dark" else "light"


def on_phone() -> bool:
    """Return whether the reader's browser says that it is a phone's."""
    # Browsers of small screens name themselves so: MDN, "Browser detection using the user agent".
    return "Mobi" in (st.context.headers.get("User-Agent") or "")


def square_chart(figure: Any, *, key: str) -> None:
    """Draw a picture of space: as high as its place on the page is wide, so that it fills it.

    Parameters
    ----------
    figure : plotly.graph_objects.Figure
        Without a height of its own.
    key : str
        Of the chart.
    """
    with st.container(key=f"square_{key}"):
        st.plotly_chart(figure, theme=None, key=key, height="stretch", config=CHART_CONFIG)


def unit_choice(*, angles: bool) -> Unit:
    """Ask for the unit to read in, and keep it over screens and restarts.

    Parameters
    ----------
    angles : bool
        Whether the distance is known, so that MOA and mrad mean something.
    """
    kept, key = read_unit(angles=angles), f"unit_{angles}"

    def keep() -> None:
        keep_read_unit(st.session_state[key], angles=angles)

    options: list[Unit] = ["mm", "inch", "moa", "mrad"] if angles else ["mm", "inch"]
    return one_of(
        "Read in",
        options,
        start=kept,
        show=lambda unit: UNITS[unit],
        key=key,
        on_change=keep,
        help=None if angles else "Give the distance to read in MOA and mrad as well.",
    )
