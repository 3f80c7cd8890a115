"""Files to take away: made on the tap, and handed to the browser in the same run.

Streamlit's own button for a file made on the tap asks the server for it under a name that lasts
one run of the page: a tap while the page is drawn anew, by this reader or by another one, may ask
for a name that is gone, and fail. Here a tap is an ordinary button's, which Streamlit keeps until
the run at work is over; the file is then made and travels to the page with the answer, so that
there is no name to go stale.
"""

from __future__ import annotations

import base64
import secrets
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, Literal

import streamlit as st

from groupscan.report.figures import figure_bytes
from groupscan.screens.chrome import told
from groupscan.screens.opened import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

__all__ = ["Download", "csv_download", "offer", "offer_file", "picture_downloads"]

# A page that is drawn anew shows the last file again; it has been handed over once.
_SCRIPT: Final = """
const handed = (window.groupscanHanded ??= new Set());
export default function ({ data }) {
  if (!data?.turn || handed.has(data.turn)) return;
  handed.add(data.turn);
  const bytes = Uint8Array.from(atob(data.content), (letter) => letter.charCodeAt(0));
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([bytes], { type: data.mime }));
  link.download = data.name;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}
"""

_mount = st.components.v2.component("groupscan_hand_over", js=_SCRIPT)


@dataclass(frozen=True)
class Download:
    """A file that the reader may take.

    Attributes
    ----------
    label : str
        What stands on its button.
    file_name, mime : str
    make : callable
        Returns the contents; called on the tap alone.
    icon : str, optional
        Of the button.
    type : {"primary", "secondary"}
    """

    label: str
    file_name: str
    mime: str
    make: Callable[[], bytes]
    icon: str | None = None
    type: Literal["primary", "secondary"] = "secondary"


def picture_downloads(
    name: str, draw: Callable[[], Figure], *, what: str = "Picture"
) -> tuple[Download, Download]:
    """Return a picture as PNG and as SVG.

    Parameters
    ----------
    name : str
        What the files are called, without their endings.
    draw : callable
        Draws it.
    what : str
        What the picture is of.
    """
    return (
        Download(f"{what} as PNG", f"{name}.png", "image/png", lambda: figure_bytes(draw(), "png")),
        Download(
            f"{what} as SVG", f"{name}.svg", "image/svg+xml", lambda: figure_bytes(draw(), "svg")
        ),
    )


def csv_download(label: str, name: str, make: Callable[[], bytes]) -> Download:
    """Return a table as CSV; `name` is without its ending."""
    return Download(label, f"{name}.csv", "text/csv", make)


@st.fragment
def offer(key: str, files: Sequence[Download]) -> None:
    """Offer files, a button each.

    Parameters
    ----------
    key : str
        Of the buttons; unlike that of any other call on the screen.
    files : sequence of Download
    """
    wanted = None
    with st.container(horizontal=True):
        for one in files:
            if st.button(
                one.label, key=f"take_{key}_{one.label}", icon=one.icon, type=one.type,
                width="stretch",
            ):  # fmt: skip
                wanted = one
    if wanted is not None:
        with told(), st.spinner("Making the file"):
            hand_over(wanted.make(), wanted.file_name, wanted.mime, key=f"hand_{key}")


def hand_over(contents: bytes, file_name: str, mime: str, *, key: str) -> None:
    """Let the reader's browser save a file now.

    Parameters
    ----------
    contents : bytes
    file_name, mime : str
    key : str
        Of the element that does it.
    """
    _mount(
        key=key,
        data={
            "turn": secrets.token_hex(8),
            "name": file_name,
            "mime": mime,
            "content": base64.b64encode(contents).decode("ascii"),
        },
    )


@st.fragment
def offer_file(path: Path, mime: str) -> None:
    """Offer a file that lies on the disk and may be large: a tap makes it ready, the next takes it.

    What is ready has its contents' own address. It is let go when the page is drawn anew, so that
    a large file is read once for a tap, and never for another file that is meant by then.

    Parameters
    ----------
    path : Path
    mime : str
    """
    place, name = st.empty(), plain(path.name)
    if not place.button(f"Get {name} ready to download", icon=":material/download:"):
        return
    try:
        contents = path.read_bytes()
    except OSError:
        st.error(f"{name} cannot be read any more: look whether it is still there.")
        return
    place.download_button(
        f"Download {name}", contents, path.name, mime, icon=":material/download:",
        on_click="ignore",
    )  # fmt: skip
