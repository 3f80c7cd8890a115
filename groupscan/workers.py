"""The same work on many things, over processes, in order, none lost to another's fault."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from multiprocessing.context import BaseContext
from typing import Any, TypeVar

__all__ = ["WorkerLostError", "prepare", "run_in_order"]

Item = TypeVar("Item")
Result = TypeVar("Result")

#: Libraries that would start threads of their own, by the variables that they heed at import.
_ONE_THREAD = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")

_work: Callable[[Any], Any] | None = None  # what a worker process does, set once at its start


class WorkerLostError(RuntimeError):
    """A worker process ended without an answer: killed, or out of memory."""


def prepare(module: str) -> None:
    """Begin to import what workers will need, while this process goes on.

    Only on Linux, where a process made for that purpose is then forked for each worker; elsewhere
    workers import by themselves.
    """
    if sys.platform != "linux":
        return
    from multiprocessing import forkserver

    context = get_context("forkserver")
    context.set_forkserver_preload([module])
    kept = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        forkserver.ensure_running()
    finally:
        for name, value in kept.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def run_in_order(
    work: Callable[[Item], Result], items: Sequence[Item], *, workers: int = 1
) -> Iterator[Result | Exception]:
    """Do the same work on every item; results come in the order of the items.

    Parameters
    ----------
    work : callable
        Importable by name, or an instance of a class that is: it is sent to each worker once.
    items : sequence
    workers : int
        Processes at work; with 1 the work is done in this process.

    Yields
    ------
    result or Exception
        What `work` returned, or the exception that it raised for this item. `WorkerLostError` where
        a process that had this item alone was lost.

    Notes
    -----
    Processes are spawned or come from a fork server that has no threads, never forked from this
    one, so that no lock or thread of a library is copied half-way. Each keeps to one thread, so
    that as many workers as cores do not crowd one another. A lost process breaks the pool, and
    which item it was at is not known: those without an answer are then done one by one, each in a
    process of its own.

    Examples
    --------
    >>> [type(one).__name__ for one in run_in_order(int, ["1", "x", "3"])]
    ['int', 'ValueError', 'int']
    """
    workers = min(workers, len(items))
    if workers <= 1:
        for item in items:
            yield _answer(work, item)
        return
    with _pool(work, workers) as pool:
        answers = [pool.submit(_at_work, item) for item in items]
        try:
            for item, answer in zip(items, answers, strict=True):
                try:
                    yield answer.result()
                except BrokenProcessPool:
                    yield _alone(work, item)
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _pool(work: Callable[[Any], Any], workers: int) -> ProcessPoolExecutor:
    context: BaseContext = get_context("forkserver" if sys.platform == "linux" else "spawn")
    return ProcessPoolExecutor(workers, mp_context=context, initializer=_begin, initargs=(work,))


def _alone(work: Callable[[Item], Result], item: Item) -> Result | Exception:
    with _pool(work, 1) as pool:
        try:
            answer: Result | Exception = pool.submit(_at_work, item).result()
        except BrokenProcessPool:
            answer = WorkerLostError(
                "its process was stopped from outside, most likely for want of memory"
            )
    return answer


def _begin(work: Callable[[Any], Any]) -> None:
    """Set up a worker process."""
    global _work  # a process has one task, and nothing else can reach its workers
    _work = work
    for name in _ONE_THREAD:
        os.environ[name] = "1"
    import cv2

    cv2.setNumThreads(1)


def _at_work(item: Any) -> Any:
    assert _work is not None
    return _answer(_work, item)


def _answer(work: Callable[[Item], Result], item: Item) -> Result | Exception:
    try:
        return work(item)
    except Exception as problem:
        return problem
