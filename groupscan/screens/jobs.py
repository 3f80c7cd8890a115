"""Long work beside the page: its progress shown, stopped by a tap, its outcome told truly.

The work goes on in a thread of its own while the page answers; it is not lost when the reader
looks at another screen meanwhile. A stopped one leaves everything as it was, since what it does is
done whole or not at all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from threading import Event, Thread
from typing import Any, Final

import streamlit as st

from groupscan.errors import GroupscanError
from groupscan.records.files import Progress
from groupscan.screens.opened import plain

__all__ = ["Job", "finished", "forget", "going", "start"]

_QUICK_S: Final = 0.4
"""Work that ends within this is not worth a bar: the page waits for it."""
_BEAT_S: Final = 0.5


class _StoppedError(Exception):
    """The reader has stopped the work."""


@dataclass
class Job:
    """One piece of work.

    Attributes
    ----------
    title : str
        What it does, such as ``"Backing up"``.
    result : object
        What the work returned, once `ended`.
    error : str
        What went wrong, for the reader; empty where nothing did.
    stopped : bool
        Whether the reader's tap came in time.
    done, total : int
        How far it is.
    """

    title: str
    result: Any = None
    error: str = ""
    stopped: bool = False
    done: int = 0
    total: int = 0
    ended: Event = field(default_factory=Event)
    stopping: Event = field(default_factory=Event)

    def step(self, done: int, total: int) -> None:
        """Note how far the work is; raises where it was stopped."""
        if self.stopping.is_set():
            raise _StoppedError
        self.done, self.total = done, total

    def run(self, work: Callable[[Progress], Any]) -> None:
        """Do the work."""
        try:
            self.step(0, 0)
            self.result = work(self.step)
        except _StoppedError:
            self.stopped = True
        except GroupscanError as err:
            self.error = str(err)
        except Exception as err:
            # Nobody else would hear of it: a thread has no page to show it on.
            self.error = f"{self.title} failed ({type(err).__name__}); the app's log says more"
            raise
        finally:
            self.ended.set()


def start(name: str, title: str, work: Callable[[Progress], Any]) -> None:
    """Begin work under a name, unless work of that name goes on already.

    Parameters
    ----------
    name : str
        Under which `finished` finds it.
    title : str
        What it does, such as ``"Backing up"``.
    work : callable
        Takes a `Progress`, which it calls as it goes. It draws nothing.
    """
    if going(name):
        return
    st.session_state.pop(_outcome(name), None)
    job = Job(title)
    st.session_state[_key(name)] = job
    Thread(target=job.run, args=(work,), name=f"groupscan-{name}", daemon=True).start()


def going(name: str) -> bool:
    """Return whether work of a name goes on."""
    job: Job | None = st.session_state.get(_key(name))
    return job is not None and not job.ended.is_set()


def finished(name: str, *, stopped: str) -> Any:
    """Draw where the work of a name stands or how it ended, and return its result once.

    Parameters
    ----------
    name : str
        As for `start`.
    stopped : str
        What to say where the reader has stopped it.

    Returns
    -------
    object
        What the work returned; None where there is none, where it goes on, or where it ended
        without: the reader has been told.
    """
    job: Job | None = st.session_state.get(_key(name))
    if job is not None and not job.ended.wait(_QUICK_S):
        _watch(name)
        return None
    if job is not None:
        # Kept before anything is drawn: the page may be drawn anew at any moment, by a late beat
        # of the bar above all, and what is only drawn is then lost.
        del st.session_state[_key(name)]
        if job.stopped:
            st.session_state[_outcome(name)] = ("stopped", stopped)
        elif job.error:
            st.session_state[_outcome(name)] = ("error", job.error)
    how, words = st.session_state.get(_outcome(name), ("", ""))
    if how == "stopped":
        st.info(words, icon=":material/cancel:")
    elif how == "error":
        st.error(plain(words))
    return None if job is None else job.result


def forget() -> None:
    """Speak no more of work that was stopped or failed: the reader went on."""
    for key in [key for key in st.session_state if str(key).startswith(_outcome(""))]:
        del st.session_state[key]


@st.fragment(run_every=_BEAT_S)
def _watch(name: str) -> None:
    job: Job | None = st.session_state.get(_key(name))
    if job is None:
        # A beat that came late: the page has told the outcome, and drawing it anew would wipe that.
        return
    if job.ended.is_set():
        st.rerun()
    share = job.done / job.total if job.total else 0.0
    part = f", {share:.0%}" if job.total else ""
    with st.container(border=True):
        st.progress(share, text=f"{job.title}{part} …")
        if job.stopping.is_set():
            st.caption("Stopping …")
        else:  # by a callback: the tap counts whether this part or the whole page is drawn anew
            st.button(
                "Cancel",
                key=f"cancel_{name}",
                icon=":material/cancel:",
                on_click=job.stopping.set,
            )


def _outcome(name: str) -> str:
    return f"outcome_{name}"


def _key(name: str) -> str:
    return f"job_{name}"
