"""The Season screen, driven without a browser."""

import base64
import json
import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from groupscan.records.preferences import Preferences, save_preferences
from groupscan.records.store import (
    Rig,
    Session,
    Setup,
    add_setup,
    get_session,
    list_setups,
    save_rig,
    save_session,
)
from groupscan.screens import season_view
from tests.screens.season_records import keep_season

HOSTILE = "<img src=q onerror=x> **[a](b)** $x$"


def page(**address):
    def script():
        from groupscan.screens import season

        season.draw()

    at = AppTest.from_function(script, default_timeout=60)
    for name, value in address.items():
        at.query_params[name] = value
    at.run()
    assert not at.exception
    return at


def words(at):
    kinds = (at.markdown, at.info, at.caption, at.error)
    text = " ".join(element.value for kind in kinds for element in kind)
    return text.replace("\\", "")


def pictures(at):
    """The pictures of the page, as Plotly gets them."""
    return [json.loads(p.proto.spec) for p in at.get("plotly_chart")]


def test_without_records_the_screen_says_what_it_will_show_and_where_to_go(store):
    at = page()
    assert "four on different days show a change" in words(at)
    assert [link.proto.label for link in at.get("page_link")] == ["Go to the Photo desk"]


def test_one_session_is_shown_and_the_sentence_says_how_many_more(store):
    keep_season(store, [20.0])
    at = page()
    assert "One session tells too little" in words(at)
    assert "4 different days" in words(at)
    assert len(pictures(at)) >= 1


def test_a_change_of_sigma_is_named_with_the_change_of_gear_just_before_it(store):
    rig = save_rig(store, Rig(name="Heron"))
    for since, changed in ((date(2026, 3, 1), "first setup"), (date(2026, 6, 12), "new string")):
        add_setup(store, Setup(rig_id=rig, since=since, changed=changed, notes="peep not tied"))
    keep_season(store, [15.0] * 10 + [30.0] * 6)
    at = page()
    said = words(at)
    assert "Groups are" in said
    assert "the first session after “new string”: check what “new string” changed" in said
    assert "A 2026-06-12: new string. peep not tied" in said.replace("**", "")
    assert "first setup" not in said.split("Sessions,")[0]  # it was there before the season
    letters = [a.get("text") for a in pictures(at)[0]["layout"]["annotations"]]
    assert "<b>A</b>" in letters


def test_many_changes_of_gear_are_one_list_with_the_newest_on_top(store):
    rig = save_rig(store, Rig(name="Heron"))
    for week in range(1, 17):
        day = date(2026, 4, 4) + timedelta(days=7 * week)
        add_setup(store, Setup(rig_id=rig, since=day, changed=f"change {week}"))
    keep_season(store, [15.0] * 18)
    lists = [m.value for m in page().markdown if "change " in m.value and m.value.startswith("**")]
    assert len(lists) == 2  # the second one folded
    assert "change 16." in lists[0].splitlines()[0]
    assert lists[1].splitlines()[-1].startswith("**A**")


def test_a_steady_season_is_left_alone(store):
    keep_season(store, [20.0] * 12, seed=5)
    assert "Nothing changed that chance would not explain" in words(page())


def test_two_rigs_stand_side_by_side_on_one_scale(store):
    keep_season(store, [15.0] * 6, rig="Heron")
    keep_season(store, [45.0] * 5, rig="Slate", start=date(2026, 5, 5), seed=2)
    at = page()
    at.selectbox(key=next(s.key for s in at.selectbox if s.label == "Beside it")).select_index(1)
    at.run()
    assert not at.exception
    first, second = pictures(at)[:2]
    for axis in ("xaxis", "yaxis", "yaxis2", "yaxis3"):
        assert first["layout"][axis]["range"] == second["layout"][axis]["range"]
    assert [s.value for s in at.subheader] == [
        "Ada · Heron · field point · 18 m",
        "Ada · Slate · field point · 18 m",
    ]


def test_the_rig_without_shots_from_there_is_told(store):
    keep_season(store, [15.0] * 4, rig="Heron", distance_m=18.0)
    keep_season(store, [15.0] * 3, rig="Heron", distance_m=30.0, start=date(2026, 7, 7))
    keep_season(store, [15.0] * 3, rig="Slate", distance_m=50.0)
    at = page()
    at.selectbox(key=next(s.key for s in at.selectbox if s.label == "Shot from")).select_index(1)
    at.run()
    at.selectbox(key=next(s.key for s in at.selectbox if s.label == "Beside it")).select_index(1)
    at.run()
    assert "Slate has no shot from there" in words(at)


def test_several_distances_are_told_to_be_ruled_out_first(store):
    keep_season(store, [15.0] * 8, distance_m=18.0)
    keep_season(store, [90.0] * 8, distance_m=45.0, start=date(2026, 7, 7), seed=2)
    assert "choose one distance to rule out" in words(page())


def test_numbers_are_read_in_the_unit_that_was_asked_for(store):
    keep_season(store, [18.0] * 6)
    at = page()
    titles = pictures(at)[0]["layout"]["yaxis"]["title"]["text"]
    assert titles.startswith("mm at 18")
    at.button_group[0].set_value("mrad").run()
    assert not at.exception
    assert pictures(at)[0]["layout"]["yaxis"]["title"]["text"] == "mrad"
    # 18 mm at 18 m is one milliradian.
    sigma = next(t for t in pictures(at)[0]["data"] if t.get("error_y"))["y"]
    values = (
        np.frombuffer(base64.b64decode(sigma["bdata"]), sigma["dtype"])
        if (isinstance(sigma, dict))
        else np.array(sigma)
    )
    assert 0.6 < np.median(values) < 1.4


def test_no_text_of_a_user_becomes_markup(store):
    rig = save_rig(store, Rig(name="Heron"))
    add_setup(store, Setup(rig_id=rig, since=date(2026, 5, 1), changed=HOSTILE, notes=HOSTILE))
    keep_season(store, [15.0] * 8, shooter=HOSTILE, head=HOSTILE)
    keep_season(store, [15.0] * 8, shooter="Bo", rig=HOSTILE)
    at = page()
    raw = " ".join(m.value for m in (*at.markdown, *at.caption, *at.subheader))
    assert not re.search(r"(?<!\\)<img", raw)
    assert not re.search(r"(?<!\\)\*\*\[a\]\(b\)", raw)
    assert not re.search(r"(?<!\\)\$x\$", raw)
    # Plotly reads a subset of HTML.
    assert all("<img" not in json.dumps(picture) for picture in pictures(at))


def test_a_session_without_a_distance_is_told_in_words_of_the_screen(store):
    keep_season(store, [15.0] * 3)
    keep_season(store, [15.0] * 2, distance_m=None, start=date(2026, 7, 1))
    at = page()
    assert "24 shots of sessions without a distance are left out" in words(at)
    assert "3 sessions tell too little" in words(at)
    assert "--distance" not in words(at)


def test_the_season_is_measured_once_for_one_content_of_the_records(store, monkeypatch):
    keep_season(store, [15.0] * 5)
    seen = []
    measure = season_view.season_of
    monkeypatch.setattr(season_view, "season_of", lambda table: (seen.append(1), measure(table))[1])
    at = page()
    at.run()
    assert len(seen) == 1
    save_session(store, Session(held_on=date(2026, 8, 1), place="elsewhere"))
    at.run()
    assert len(seen) == 2


def test_the_days_of_a_season_follow_the_style_that_is_preferred(store):
    keep_season(store, [15.0] * 4)
    for style, day in (("3 May 2026", "25 Apr 2026"), ("05/03/2026", "04/25/2026")):
        save_preferences(store, Preferences(date_style=style))
        (table,) = [box.value for box in page().markdown if box.value.startswith("| Session |")]
        assert day in table.replace("\\", "").replace("\u2011", "-")


@pytest.mark.parametrize("ends", ["wider", "same"])
def test_ends_that_open_up_are_told(store, ends):
    ratio = 1.6 if ends == "wider" else 1.0
    keep_season(store, [20.0] * 12, end_ratio=ratio, shots=18)
    assert ("open up by" in words(page())) == (ends == "wider")


def test_how_a_session_goes_is_laid_out_once_it_is_unfolded(store):
    keep_season(store, [20.0] * 8, end_ratio=1.6, shots=36)
    at = page()
    assert len(pictures(at)) == 1
    assert "open up by" in words(at)
    at.session_state["season_within"] = True
    at.run()
    assert not at.exception
    assert len(pictures(at)) == 3
    assert re.search(r"From end to end: groups open up by \d+ % \(\d+ to \d+\) an end", words(at))
    files = [button.label for button in at.button]
    assert files.count("Picture as PNG") == files.count("Picture as SVG") == 3


def choose(at, label, place):
    at.selectbox(key=next(s.key for s in at.selectbox if s.label == label)).select_index(place)
    at.run()
    assert not at.exception


def address(at):
    given = at.query_params
    return {name: given[name] if isinstance(given[name], str) else given[name][0] for name in given}


def answers(at):
    return {box.label: box.value for box in at.selectbox}


def test_a_link_shows_the_picture_that_its_sender_saw(store):
    keep_season(store, [15.0] * 6)
    keep_season(store, [25.0] * 4, distance_m=30 * 0.9144, start=date(2026, 7, 7))
    keep_season(store, [45.0] * 5, rig="Slate & $co", start=date(2026, 5, 5), seed=2)
    at = page()
    assert address(at) == {"shooter": "Ada", "rig": "Heron", "head": "field point"}
    choose(at, "Lengths as they would be at", 1)
    assert address(at)["season_at"] == "27.432"
    choose(at, "Shot from", 1)
    choose(at, "Beside it", 1)
    sent = address(at)
    assert sent == {
        "shooter": "Ada", "rig": "Heron", "head": "field point", "distance": "18",
        "beside": "Slate & $co · Ada",
    }  # fmt: skip
    opened = page(**sent)
    assert answers(opened) == answers(at)
    assert [s.value for s in opened.subheader] == [s.value for s in at.subheader]
    assert address(opened) == sent
    choose(opened, "Shot from", 0)
    assert "distance" not in address(opened)
    opened.run()
    assert answers(opened)["Shot from"] == 0


def test_what_an_address_asks_for_and_is_gone_is_said(store):
    keep_season(store, [15.0] * 4)
    keep_season(store, [25.0] * 4, rig="Slate", distance_m=30.0, start=date(2026, 7, 7))
    at = page(shooter="Nobody", rig="Slate", distance="41", beside="Bo *x*")
    told = "not in the records: shooter Nobody, distance 41 m, beside Bo *x*."
    assert told in words(at)
    assert answers(at)["Rig"] == "Slate"
    at.run()  # a page may be drawn anew before it is read
    assert told in words(at)
    choose(at, "Rig", 0)
    for sound in (at, page(**address(at)), page(shooter="Ada", rig="Slate", distance="30.0")):
        assert "The address asks" not in words(sound)


def test_a_link_to_a_setup_holds_under_another_style_of_dates(store):
    rig = save_rig(store, Rig(name="Heron"))
    for since, changed in ((date(2026, 4, 1), "first"), (date(2026, 5, 1), "new string")):
        add_setup(store, Setup(rig_id=rig, since=since, changed=changed))
    for setup_id, start in zip(
        sorted(list_setups(store)["id"]), (date(2026, 4, 4), date(2026, 5, 5)), strict=True
    ):
        for key in keep_season(store, [15.0] * 4, start=start):
            save_session(store, replace(get_session(store, key), setup_id=int(setup_id)))
    at = page()
    options = next(s for s in at.selectbox if s.label == "Setup").options
    choose(at, "Setup", options.index("Heron 2026-05-01: new string"))
    sent = address(at)
    save_preferences(store, Preferences(date_style="3 May 2026"))
    opened = page(**sent)
    assert answers(opened)["Setup"] == "Heron 1 May 2026: new string"
    assert "The address asks" not in words(opened)
    assert address(opened) == sent


def test_an_address_that_anybody_typed_is_no_error(store):
    keep_season(store, [15.0] * 4)
    keep_season(store, [25.0] * 4, rig="Slate", distance_m=30.0, start=date(2026, 7, 7))
    for distance in ("1e999", "nan", "18;drop", ""):
        at = page(rig=HOSTILE, distance=distance, beside="nobody", period="ever", setup="\0")
        assert address(at) == {
            "shooter": "Ada", "rig": "Heron", "head": "field point", "distance": "18",
        }  # fmt: skip
