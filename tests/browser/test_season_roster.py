"""What changed and what to do, and a coach's round of the students, on a desk and on a phone."""

from contextlib import closing
from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from groupscan.records.store import (
    Rig,
    Setup,
    Shooter,
    add_setup,
    get_shooter,
    open_store,
    save_rig,
    save_shooter,
)
from tests.browser.conftest import DESK, PHONE
from tests.browser.newcomer import brought_up, settled
from tests.browser.test_accessibility import findings
from tests.screens.season_records import keep_season

HOSTILE = "<img src=x onerror=document.title='gotcha'>"


def fill(home):
    """A rig with a change of setup, another beside it, and a coach with two students."""
    with closing(open_store(home)) as store:
        coach = save_shooter(store, Shooter(name="Ula Brandt"))
        keys = [
            save_shooter(store, Shooter(name=name, coach_id=coach, goals="old goal"))
            for name in (HOSTILE, "Edda Quist")
        ]
        rig = save_rig(store, Rig(name="Heron", shooter_id=coach))
        for since, changed in (
            (date(2026, 3, 1), "first"),
            (date(2026, 6, 12), "string " + HOSTILE),
        ):
            add_setup(store, Setup(rig_id=rig, since=since, changed=changed))
        keep_season(store, [15.0] * 10 + [30.0] * 6, shooter="Ula Brandt", shots=18)
        keep_season(store, [20.0] * 6, shooter="Ula Brandt", rig="Slate", seed=2)
        wide = np.geomspace(15, 45, 6)
        keep_season(store, wide, shooter="Edda Quist", rig="", shots=36, every=21)
        return keys


def go_to(page, name, start="Start with a photo"):
    """Open a screen by its tab, which a phone keeps in a drawer."""
    if start:
        page.get_by_text(start).wait_for(timeout=60_000)
    drawer = page.get_by_test_id("stExpandSidebarButton")
    if drawer.is_visible():
        drawer.click()
    page.get_by_role("link", name=name, exact=True).click()
    page.get_by_role("heading", name=name, exact=True).wait_for()


def pictures_are_whole(page, count):
    """Wait until so many pictures or more are seen, with their points and within the page."""
    page.wait_for_function(
        """(count) => { const seen = [...document.querySelectorAll('.js-plotly-plot')]
            .map((plot) => [plot, plot.getBoundingClientRect()]).filter(([, box]) => box.width > 0);
          return seen.length >= count && seen.every(([plot, box]) =>
            plot.querySelector('.scatterlayer .point') && box.left >= 0
              && box.right <= innerWidth); }""",
        arg=count,
    )
    assert page.get_by_test_id("stMain").evaluate("(e) => e.scrollWidth <= e.clientWidth")


def choose(page, question, option):
    answer = page.get_by_role("option", name=option)
    brought_up(page, page.get_by_role("combobox", name=question).click, answer)
    answer.click()


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_the_change_is_named_with_its_gear_and_two_rigs_stand_side_by_side(app, open_page, size):
    fill(app.home)
    page = open_page(**size)
    go_to(page, "Season")
    folded = page.get_by_text("Choose what is shown")
    if size is PHONE:  # the picture comes first there
        folded.click()
    page.get_by_text("the first session after “string " + HOSTILE).first.wait_for()
    pictures_are_whole(page, 1)
    flag = page.locator(".js-plotly-plot .annotation-text", has_text="A").first
    assert flag.is_visible()
    # Text in the picture is 12 px at least.
    sizes = page.locator(".js-plotly-plot text").evaluate_all(
        """(all) => all.filter((text) => text.textContent.trim())
          .map((text) => parseFloat(getComputedStyle(text).fontSize))"""
    )
    assert min(sizes) >= 12

    choose(page, "Beside it", "Slate")
    page.get_by_role("heading", name="Ula Brandt · Slate · field point").wait_for()
    pictures_are_whole(page, 2)
    page.wait_for_function(
        """() => [...document.querySelectorAll('.js-plotly-plot')]
          .every((plot) => plot._fullLayout?.yaxis?.range)"""
    )
    ranges = page.locator(".js-plotly-plot").evaluate_all(
        "(plots) => plots.map((p) => [p._fullLayout.yaxis.range, p._fullLayout.xaxis.range].join())"
    )
    assert ranges[0] == ranges[1]
    settled(page)  # until then what was there before stands beside what is new
    page.get_by_text("From end to end, and the first arrow").first.click()
    pictures_are_whole(page, 4)
    for place in ("ends", "cold"):
        with page.expect_download() as told:
            page.locator(f"[class*=st-key-take_season_0_{place}_] button").first.click()
        assert told.value.path().read_bytes().startswith(b"\x89PNG")
    assert "rig=Heron" in page.url
    assert "beside=Slate" in page.url
    assert page.locator("img[src=x]").count() == 0
    assert page.title() != "gotcha"


@pytest.mark.parametrize("size", [DESK, PHONE], ids=["desk", "phone"])
def test_a_coach_sees_who_needs_a_look_and_changes_a_goal(app, open_page, size):
    _, edda = fill(app.home)
    page = open_page(**size)
    go_to(page, "Roster")
    page.get_by_text("2 students: 1 wider, 1 too few arrows; look at Edda Quist first").wait_for()
    page.get_by_alt_text("sigma over 6 sessions").wait_for()
    for button in page.locator("[data-testid^=stBaseButton-]").all():
        assert button.bounding_box()["height"] >= 44
    page.get_by_role("button", name="Edda Quist").click()
    page.get_by_role("heading", name="Edda Quist").wait_for()
    page.get_by_role("heading", name="What to work on").wait_for()
    pictures_are_whole(page, 1)

    assert f"student={edda}" in page.url
    goals = page.get_by_role("textbox", name="Goals")
    goals.fill("hold the wall " + HOSTILE)
    page.get_by_role("button", name="Save goals and notes").click()
    page.get_by_text("Goals and notes are saved").wait_for()
    with closing(open_store(app.home)) as store:
        kept = get_shooter(store, edda)
        assert kept.goals == "hold the wall " + HOSTILE
        save_shooter(store, replace(kept, goals="from another desk"))
    goals.fill("mine")
    page.get_by_role("button", name="Save goals and notes").click()
    page.get_by_text("Somebody saved this student").wait_for()
    page.get_by_text("from another desk").wait_for()
    page.get_by_role("button", name="Save mine instead").click()
    page.get_by_text("Yours is saved").wait_for()
    page.get_by_role("button", name="All students").click()
    page.get_by_role("heading", name="Roster").wait_for()
    with page.expect_download() as told:
        page.get_by_role("button", name="Roster as CSV").click()
    assert "Edda Quist,Ula Brandt,wider,6,216" in told.value.path().read_text("utf-8-sig")
    assert page.locator("img[src=x]").count() == 0
    assert page.title() != "gotcha"


@pytest.mark.parametrize(("size", "scheme"), [(DESK, "light"), (PHONE, "dark")])
def test_nothing_that_folds_hides_a_grave_finding(app, open_page, size, scheme):
    fill(app.home)
    page = open_page(**size, color_scheme=scheme)
    go_to(page, "Season")
    settled(page)
    unfold(page)
    assert page.locator(".js-plotly-plot").count() == 3
    found = {"Season": findings(page)}
    page.get_by_role("heading", name="Season").scroll_into_view_if_needed()
    settled(page)  # a list of choices closes where the page still scrolls
    choose(page, "Beside it", "Slate")
    page.get_by_role("heading", name="Ula Brandt · Slate · field point").wait_for()
    settled(page)
    unfold(page)
    found["two seasons"] = findings(page)
    go_to(page, "Roster", start=None)
    settled(page)
    page.get_by_role("button", name="Edda Quist").click()
    page.get_by_role("heading", name="What to work on").wait_for()
    settled(page)
    unfold(page)
    found["a student"] = findings(page)
    page.get_by_role("button", name="Report").click()
    page.get_by_role("button", name="Page as PDF").or_(page.get_by_text("Letter")).first.wait_for()
    found["the report's popover"] = findings(page)
    assert {name: grave for name, grave in found.items() if grave} == {}
    assert page.get_by_test_id("stMain").evaluate("(e) => e.scrollWidth <= e.clientWidth")


def unfold(page):
    """Open everything that folds."""
    while (folded := page.locator(".stExpander details:not([open]) summary")).count():
        folded.first.click()
        settled(page)
