"""The Data screen: sessions put right and brought back, files in and out, backups, a check."""

import time
from dataclasses import replace
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.records.exchange.archive import export_archive, import_archive
from groupscan.records.exchange.column_map import FIELDS
from groupscan.records.exchange.shots_in import BadCell, commit, plan_import
from groupscan.records.exchange.undoing import undo_import
from groupscan.records.preferences import Preferences, read_preferences, save_preferences
from groupscan.records.store import (
    Head,
    Outing,
    ScanRecord,
    Session,
    ShotRecord,
    delete_entry,
    get_session,
    list_scans,
    list_sessions,
    open_store,
    save_head,
    save_outings,
    save_session,
    shots_frame,
)
from groupscan.records.upkeep.backup import backup
from groupscan.screens.data_parts.table_import import LABELS, bad_table

HOSTILE = "<img src=x onerror=alert(1)>**Ada** $x$ [a](b)"


def page(**asked):
    def draw():
        from groupscan.screens import data

        data.draw()

    run = AppTest.from_function(draw, default_timeout=30)
    for name, value in asked.items():
        run.query_params[name] = value
    return fine(run.run())


def fine(run):
    assert not run.exception, run.exception[0].message
    return run


def until(run, told):
    """Draw the page until its work is done and says so, as the browser does by itself."""
    for _ in range(100):
        if told(run):
            return run
        time.sleep(0.05)
        fine(run.run())
    raise AssertionError([*run.main])


def press(run, label):
    [button] = [one for one in run.button if one.label == label]
    return fine(button.click().run())


def words(run):
    kinds = (run.markdown, run.success, run.info, run.error, run.warning, run.caption)
    return "\n".join(str(one.value) for kind in kinds for one in kind)


def outing(day=3, *, shooter="Ada", place="North butts", ends=1):
    session = Session(held_on=date(2026, 5, day), place=place, shooter=shooter, distance_m=18.288)
    shots = tuple(ShotRecord(number=i, x_mm=3.0 * i, y_mm=-2.0) for i in (1, 2, 3))
    return Outing(session, [ScanRecord(session_id=0, shots=shots) for _ in range(ends)])


@pytest.fixture
def session_id(store):
    return save_outings(store, [outing()])[0]


def test_an_empty_store_says_where_sessions_come_from(store):
    assert "No session is kept yet" in words(page())


def test_a_search_finds_by_all_of_its_words(store):
    save_outings(store, [outing(3), outing(4, place="the wood"), outing(5, shooter="Bo")])
    run = page()
    assert len(labels(run)) == 3
    fine(run.text_input(key="session_search").set_value("ADA wood").run())
    [label] = labels(run)
    assert "the wood" in label
    fine(run.text_input(key="session_search").set_value("ada (").run())
    assert "No session has all of these words" in words(run)


def labels(run):
    return [one.label for one in run.button if str(one.key).startswith("open_session_")]


def test_rows_speak_in_the_readers_units(store, session_id):
    save_preferences(store, Preferences(distance="yd", date_style="3 May 2026"))
    [label] = labels(page())
    assert label.startswith("**3 May 2026** ")
    assert "20 yd" in label


def test_a_hostile_name_is_shown_as_text(store):
    save_outings(store, [outing(shooter=HOSTILE)])
    run = page()
    [label] = labels(run)
    assert r"\<img" in label
    assert r"\*\*Ada\*\*" in label
    opened = page(session="1")
    assert HOSTILE in opened.selectbox(key="shooter_1_1").options


def test_particulars_are_saved_and_undone_to_the_last_digit(store, session_id):
    save_preferences(store, Preferences(distance="m"))
    run = page(session=str(session_id))
    fine(run.text_input(key=f"place_{session_id}_1").set_value("the wood").run())
    press(run, "Save these particulars")
    saved = get_session(store, session_id)
    assert (saved.place, saved.distance_m) == ("the wood", 18.288)  # shown as 18.3 m
    press(run, "Undo")
    assert get_session(store, session_id).place == "North butts"
    assert "Undo" not in [one.label for one in run.button]


def test_a_bare_distance_is_read_in_the_readers_unit(store, session_id):
    save_preferences(store, Preferences(distance="yd"))
    run = page(session=str(session_id))
    fine(run.text_input(key=f"distance_{session_id}_1").set_value("40").run())
    press(run, "Save these particulars")
    assert get_session(store, session_id).distance_m == pytest.approx(36.576)
    fine(run.text_input(key=f"distance_{session_id}_2").set_value("forty").run())
    assert "is not a number" in words(run)


def test_what_another_saved_meanwhile_is_not_overwritten(store, session_id):
    run = page(session=str(session_id))
    fine(run.text_input(key=f"place_{session_id}_1").set_value("mine").run())
    save_session(store, replace(get_session(store, session_id), place="theirs"))
    press(run, "Save these particulars")
    assert run.error
    assert get_session(store, session_id).place == "theirs"
    assert run.text_input(key=f"place_{session_id}_1").value == "mine"  # nothing typed is lost
    press(run, "Drop what I typed, show what is kept")
    assert run.text_input(key=f"place_{session_id}_2").value == "theirs"


def test_a_deleted_session_is_taken_back_at_once_or_later(store, session_id):
    run = page(session=str(session_id))
    press(run, "Delete it")
    assert list_sessions(store).empty
    press(run, "Undo")
    assert len(list_sessions(store)) == 1
    run = page(session=str(session_id))
    press(run, "Delete it")
    later = page(part="log")
    text = words(later).replace("\\", "")
    assert "Session: **2026-05-03** · North butts · Ada · 18.3 m (20 yd) · 1 end, 3 shots" in text
    press(later, "Bring back")
    assert len(list_sessions(store)) == 1
    assert "brought back" in words(later)


def test_what_is_deleted_is_told_in_the_readers_days(store):
    save_preferences(store, Preferences(date_style="05/03/2026"))
    [key] = save_outings(store, [outing(ends=2)])
    delete_entry(store, "scan", 2)
    text = words(page(part="log")).replace("\\", "")
    assert "end 2 of 05/03/2026, deleted" in text
    assert "2026-05-03" not in text
    delete_entry(store, "session", key)
    assert "2026-05-03" not in words(page(part="log")).replace("\\", "")


def test_a_notice_of_a_deletion_goes_once_it_holds_no_longer(store, session_id):
    run = page(session=str(session_id))
    press(run, "Delete it")
    assert "is deleted" in words(run)
    fine(run.pills(key="data_parts").set_value("log").run())
    press(run, "Bring back")
    assert len(list_sessions(store)) == 1
    fine(run.pills(key="data_parts").set_value("sessions").run())
    assert "is deleted" not in words(run)


def test_an_end_is_deleted_and_taken_back(store):
    [key] = save_outings(store, [outing(ends=2)])
    run = page(session=str(key))
    fine(run.button(key="delete_scan_2").click().run())
    assert len(list_scans(store)) == 1
    press(run, "Undo")
    assert len(list_scans(store)) == 2


def test_corrections_are_told_in_words_and_units(store, session_id):
    save_preferences(store, Preferences(distance="yd"))
    kept = get_session(store, session_id)
    save_session(store, replace(kept, distance_m=36.576, place="<b>the wood</b>"))
    said = words(page(part="log")).replace("\\", "")
    assert "distance from 20 yd to 40 yd" in said
    assert "place from North butts to <b>the wood</b>" in said


def test_an_unknown_session_is_told(store, session_id):
    assert page(session="77").error
    assert page(session="<script>", part="sessions").button


@pytest.mark.parametrize(
    ("kind", "begins"),
    [("zip", b"PK"), ("csv", b"\xef\xbb\xbf"), ("json", b"{"), ("parquet", b"PAR1")],
)
def test_each_kind_of_file_is_made(store, session_id, kind, begins):
    run = page(part="export")
    fine(run.button_group(key="export_kind").set_value(kind).run())
    press(run, "Make the file")
    until(run, lambda run: run.get("download_button"))
    name, data, told, _ = run.session_state["export_made"]
    assert name.endswith(f".{kind}")
    assert data.startswith(begins)
    assert "3 shots" in told
    assert page(part="export").button_group(key="export_kind").value == kind  # remembered


def given(run, name, data):
    fine(run.file_uploader[0].set_value((name, data, "application/octet-stream")).run())
    return run


def test_an_archive_is_looked_through_before_it_is_taken_in(store, session_id, tmp_path):
    other = open_store(tmp_path / "other")
    save_outings(other, [outing(9, shooter=HOSTILE)])
    export_archive(other, tmp_path / "theirs.zip")
    other.close()
    run = given(page(part="import"), "theirs.zip", (tmp_path / "theirs.zip").read_bytes())
    until(run, lambda run: "What would happen" in words(run))
    assert len(list_sessions(store)) == 1
    press(run, "Import")
    until(run, lambda run: "Stored: 1 session, 1 end, 3 shots" in words(run))
    assert len(list_sessions(store)) == 2


def test_a_damaged_archive_is_told_by_its_own_name(store):
    run = given(page(part="import"), "holiday.zip", b"PK, or so it says")
    until(run, lambda run: run.error)
    said = run.error[0].value.replace("\\", "")
    assert said.startswith("holiday.zip: it is no archive")
    assert "given.zip" not in said


CSV = b"day,left,up,archer\n2026-05-03,10,5,Ada\n2026-05-03,-4,2,Ada\n"


def test_a_table_is_matched_seen_and_taken_in(store):
    run = given(page(part="import"), "range.csv", CSV)
    columns = {one.label: one.value for one in run.selectbox}
    assert columns["Right of the aim"] == "left"
    assert columns["Shooter"] == "archer"
    assert run.toggle[0].value is True  # a column of that name grows to the left
    fine(run.button_group[-1].set_value("in").run())
    press(run, "See what would happen")
    until(run, lambda run: "New shots" in words(run))
    assert list_sessions(store).empty
    press(run, "Import 2 shots")
    until(run, lambda run: "Stored: 2 shots in 1 end of 1 session" in words(run))
    assert sorted(shots_frame(store)["x_mm"]) == pytest.approx([-254.0, 101.6])


def test_an_import_is_undone_and_brought_back_where_it_was_made(store):
    run = given(page(part="import"), "range.csv", CSV)
    press(run, "See what would happen")
    until(run, lambda run: "New shots" in words(run))
    press(run, "Import 2 shots")
    until(run, lambda run: "Stored: 2 shots" in words(run))
    press(run, "Undo this import")
    assert "Undone: 1 session, 1 end, 2 shots are taken away" in words(run)
    assert list_sessions(store).empty
    press(run, "Bring it back")
    assert "It is back" in words(run)
    assert len(list_sessions(store)) == 1
    fine(run.button_group[0].set_value("sessions").run())
    fine(run.button_group[0].set_value("import").run())
    assert "Undo this import" not in [one.label for one in run.button]


def test_imports_of_before_are_listed_with_their_way_back(store, session_id, tmp_path):
    other = open_store(tmp_path / "other")
    save_outings(other, [outing(9, shooter=HOSTILE)])
    export_archive(other, tmp_path / "theirs.zip")
    other.close()
    import_archive(store, tmp_path / "theirs.zip", name=HOSTILE)
    run = page(part="log")
    said = words(run).replace("\\", "")
    assert f"{HOSTILE}, " in said
    assert "1 session, 1 end, 3 shots" in said
    press(run, "Undo this import")
    assert len(list_sessions(store)) == 1
    assert "Nothing is deleted" in words(run)
    assert f"import of {HOSTILE} undone" in words(run).replace("\\", "")
    press(run, "Bring back")
    assert len(list_sessions(store)) == 2


def test_an_import_that_cannot_come_back_says_why(store, tmp_path):
    table = tmp_path / "range.csv"
    table.write_bytes(CSV)
    plan = plan_import(store, table)
    commit(store, plan)
    undo_import(store, plan.uid)
    commit(store, plan_import(store, table))
    run = page(part="log")
    press(run, "Bring back")
    assert "undo that one first" in words(run)
    assert len(list_sessions(store)) == 1


def test_gear_that_stays_deleted_when_an_import_comes_back_is_told(store, tmp_path):
    table = tmp_path / "range.csv"
    table.write_text("date,x_mm,y_mm,head\n2026-05-03,1,2,[field]\n")
    plan = plan_import(store, table)
    commit(store, plan)
    undo_import(store, plan.uid)
    save_head(store, Head(name="[Field]"))
    run = page(part="log")
    press(run, "Bring back")
    assert "by now: head [field]." in words(run).replace("\\", "")
    assert len(list_sessions(store)) == 1


def test_a_unit_in_the_names_is_not_asked_for(store):
    run = given(page(part="import"), "range.csv", b"day,x_in,y_in\n2026-05-03,1,2\n")
    press(run, "See what would happen")
    until(run, lambda run: "New shots" in words(run))
    press(run, "Import 1 shot")
    until(run, lambda run: "Stored: 1 shot" in words(run))
    assert shots_frame(store)["x_mm"].tolist() == [25.4]


def test_what_a_session_that_goes_on_keeps_is_shown(store):
    save_session(store, Session(held_on=date(2026, 5, 3), place="the wood", shooter="Ada"))
    run = given(page(part="import"), "range.csv", CSV.replace(b"archer", b"archer,notes").replace(
        b"Ada", b"Ada,gusts"))  # fmt: skip
    press(run, "See what would happen")
    until(run, lambda run: "Not taken, since a session keeps its own (1)" in [
        one.label for one in run.expander])  # fmt: skip
    assert "gusts" in words(run)


def test_other_arrow_numbers_of_ends_that_are_here_are_told(store, tmp_path):
    table = tmp_path / "range.csv"
    table.write_bytes(CSV.replace(b"archer", b"arrow"))
    commit(store, plan_import(store, table))
    run = given(page(part="import"), "range.csv", table.read_bytes().replace(b"2,Ada", b"2,Bo"))
    press(run, "See what would happen")
    until(run, lambda run: "1 end left out with other heads or arrow numbers" in words(run))
    assert "with other arrows" in words(run)


def test_a_plan_holds_only_for_what_was_asked(store):
    run = given(page(part="import"), "range.csv", CSV)
    press(run, "See what would happen")
    until(run, lambda run: "New shots" in words(run))
    fine(run.toggle[1].set_value(True).run())
    assert "New shots" not in words(run)


def test_all_that_is_wrong_with_a_table_is_shown_and_nothing_stored(store):
    rows = b"day,x,y\n2026-05-03,1,<b>2\nsoon,2,3\n"
    run = given(page(part="import"), "range.csv", rows)
    press(run, "See what would happen")
    until(run, lambda run: "2 things to put right" in words(run))
    said = words(run).replace("\\", "")
    assert "| 2 | y |" in said
    assert "| 3 | day |" in said
    assert not [one for one in run.button if one.label.startswith("Import")]


def test_all_that_is_wrong_can_be_downloaded_however_much(store):
    rows = b"".join(b"2026-05-03,1,=no%d\n" % number for number in range(1200))
    run = given(page(part="import"), "range day.csv", b"day,x,y\n" + rows)
    press(run, "See what would happen")
    until(run, lambda run: "1200 things to put right" in words(run))
    assert "and 200 more" in words(run)
    assert "Download all that is wrong (CSV)" in [one.label for one in run.button]
    bad = [BadCell(2, "=y", "no number", "correct it"), BadCell(3, "", "too long", "cut")]
    lines = bad_table(bad).decode("utf-8-sig").split("\r\n")
    assert lines[0] == "row,column,what is wrong,what to do"
    assert lines[1] == "2,'=y,no number,correct it"  # no formula for a spreadsheet
    assert lines[2] == "3,,too long,cut"


def test_a_table_without_places_asks_for_them(store):
    run = given(page(part="import"), "range.csv", b"day,a,b\n2026-05-03,1,2\n")
    assert "Say which column holds: Right of the aim, Above the aim" in words(run)


def test_what_is_no_table_is_told(store):
    run = given(page(part="import"), "<b>.csv", b"")
    assert run.error[0].value.replace("\\", "").startswith("<b>.csv")


def test_every_column_has_a_label():
    assert set(LABELS) == set(FIELDS)


def test_a_backup_is_made_listed_and_put_back_after_a_clear_yes(store, session_id):
    run = page(part="backup")
    press(run, "Back up now")
    until(run, lambda run: "is written and sound" in words(run))
    save_outings(store, [outing(20)])
    run = page(part="backup")
    assert "1 session, 3 shots" in run.selectbox[0].options[0]
    [button] = [one for one in run.button if one.label == "Restore"]
    assert button.disabled
    fine(run.checkbox[0].check().run())
    press(run, "Restore")
    until(run, lambda run: "The records are those of" in words(run))
    assert len(list_sessions(store)) == 1
    assert len(run.selectbox[0].options) == 2  # what was replaced is there as well


def test_a_damaged_backup_is_listed_and_cannot_be_put_back(store, session_id):
    backup(store).write_bytes(b"PK")
    run = page(part="backup")
    assert "damaged" in run.selectbox[0].options[0]
    assert "Restore" not in [one.label for one in run.button]


def test_a_check_tells_what_is_wrong_and_repairs_what_is_safe(store, session_id):
    run = page(part="check")
    press(run, "Check the records")
    until(run, lambda run: "The records are sound" in words(run))
    (store.photo_dir / "<b>notes.txt").write_text("not a photo")
    press(run, "Check the records")
    until(run, lambda run: "Foreign file" in words(run))
    press(run, "Repair what is safe")
    until(run, lambda run: "**Repaired**" in words(run))
    assert not (store.photo_dir / "<b>notes.txt").exists()


def test_units_and_date_style_are_kept(store):
    run = page(part="units")
    fine(run.button_group(key="prefer_distance").set_value("yd").run())
    fine(run.button_group(key="prefer_date_style").set_value("05/03/2026").run())
    assert "05/03/2026, 40 yd" in words(run).replace("\\", "")
    kept = read_preferences(store)
    assert (kept.distance, kept.date_style) == ("yd", "05/03/2026")
