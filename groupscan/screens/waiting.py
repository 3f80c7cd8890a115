"""Long work that leaves the page able to answer, so that a tap can stop it."""

from __future__ import annotations

import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, wait
from typing import Final, TypeVar

__all__ = ["wait_for"]

_T = TypeVar("_T")

_BEAT_S: Final = 0.2  # a page that answers within this still feels awake


def wait_for(work: Callable[[], _T], tick: Callable[[float], None]) -> _T:
    """Do the work in a thread of its own and return what it returns.

    Parameters
    ----------
    work : callable
        What takes long. It draws nothing and changes nothing that the page shares with it.
    tick : callable
        Called with the seconds that have passed, a few times a second. Whatever it draws gives
        Streamlit the chance to end this run for a tap; the work's result is then dropped.

    Raises
    ------
    Exception
        Whatever the work raises.

    Examples
    --------
    >>> wait_for(lambda: 6 * 7, lambda seconds: None)
    42
    """
    begun = time.monotonic()
    pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="groupscan-work")
    try:
        future = pool.submit(work)
    finally:
        pool.shutdown(wait=False)  # the thread ends with its work
    while not wait([future], timeout=_BEAT_S).done:
        tick(time.monotonic() - begun)
    return future.result()
