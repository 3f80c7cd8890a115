"""Long work goes on beside the page and is stopped by a tap."""

from threading import Event

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.errors import GroupscanError
from groupscan.screens.jobs import Job


def test_work_tells_how_far_it_is_and_what_it_found():
    job = Job("Counting")
    job.run(lambda step: [step(done, 3) for done in range(3)])
    assert (job.done, job.total, job.result, job.error, job.stopped) == (
        2,
        3,
        [None] * 3,
        "",
        False,
    )


def test_stopped_work_ends_at_its_next_step_without_a_result():
    job = Job("Counting")

    def work(step):
        step(1, 3)
        job.stopping.set()
        step(2, 3)
        raise AssertionError("went on")

    job.run(work)
    assert (job.stopped, job.done, job.result, job.ended.is_set()) == (True, 1, None, True)


def test_work_that_is_done_when_it_is_stopped_tells_its_result():
    job = Job("Counting")

    def work(step):
        job.stopping.set()
        return "stored"

    job.run(work)
    assert (job.stopped, job.result) == (False, "stored")


def test_what_goes_wrong_is_told():
    job = Job("Counting")

    def refused(step):
        raise GroupscanError("the disk is full")

    job.run(refused)
    assert job.error == "the disk is full"

    def broken(step):
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        job.run(broken)
    assert "Counting failed" in job.error


def slow_page(gate):
    import streamlit as st

    from groupscan.screens import jobs

    def work(step):
        step(1, 4)
        gate.wait(20)
        step(2, 4)
        return "done"

    if st.button("Go"):
        jobs.start("slow", "Counting", work)
    result = jobs.finished("slow", stopped="Stopped.")
    if result is not None:
        st.success(result)


def test_a_tap_stops_what_the_page_shows():
    gate = Event()
    run = AppTest.from_function(slow_page, kwargs={"gate": gate}, default_timeout=30).run()
    run.button[0].click().run()
    assert [one.label for one in run.button] == ["Go", "Cancel"]
    run.button[1].click().run()
    gate.set()
    while not run.info:
        run.run()
    assert run.info[0].value == "Stopped."
    assert not run.success


def test_a_page_left_alone_shows_the_result():
    gate = Event()
    run = AppTest.from_function(slow_page, kwargs={"gate": gate}, default_timeout=30).run()
    run.button[0].click().run()
    gate.set()
    while not run.success:
        run.run()
    assert [one.label for one in run.button] == ["Go"]
