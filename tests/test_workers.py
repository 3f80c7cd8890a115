"""The same work on many things: order, errors, and a process that dies."""

import os
import time

import pytest

from groupscan.errors import PhotoError
from groupscan.workers import WorkerLostError, run_in_order


def work(item: int) -> tuple[int, int]:
    """The square of a number and who computed it; some numbers are trouble."""
    if item == 13:
        raise PhotoError("thirteen")
    if item == 66:
        os._exit(1)  # as the system does to a process that takes too much memory
    if item == 0:
        time.sleep(0.5)  # the first is the last to be done
    return item * item, os.getpid()


def test_order_is_that_of_the_items_and_an_error_stays_with_its_own() -> None:
    items = [0, 13, 2, 3, 4]
    answers = list(run_in_order(work, items, workers=2))
    assert isinstance(answers[1], PhotoError)
    assert str(answers[1]) == "thirteen"
    good = [answer for answer in answers if not isinstance(answer, Exception)]
    assert [square for square, _ in good] == [0, 4, 9, 16]
    assert os.getpid() not in {process for _, process in good}


def test_one_worker_or_one_item_stays_in_this_process() -> None:
    for items, workers in (([1, 2], 1), ([2], 8)):
        answers = list(run_in_order(work, items, workers=workers))
        assert {process for _, process in answers} == {os.getpid()}
    assert list(run_in_order(work, [], workers=2)) == []


@pytest.mark.parametrize("workers", [2, 3])
def test_a_process_that_dies_loses_its_own_item_only(workers) -> None:
    items = [1, 66, 2, 3, 4, 5]
    answers = list(run_in_order(work, items, workers=workers))
    assert isinstance(answers[1], WorkerLostError)
    assert [answer[0] for i, answer in enumerate(answers) if i != 1] == [1, 4, 9, 16, 25]


def test_each_worker_keeps_to_one_thread() -> None:
    assert list(run_in_order(threads, [0, 1], workers=2)) == [1, 1]


def threads(_: int) -> int:
    import cv2

    return int(cv2.getNumThreads())


def test_who_stops_asking_is_not_kept_waiting() -> None:
    answers = run_in_order(work, [1, 2, 3], workers=2)
    first = next(answers)
    assert not isinstance(first, Exception)
    assert first[0] == 1
    answers.close()
