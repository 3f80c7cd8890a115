"""The Photo desk as a page, driven without a browser."""

import json
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from groupscan.errors import MarksError, StoreError
from groupscan.records.drafts import list_drafts
from groupscan.records.entries import (
    Build,
    Rig,
    ScanRecord,
    Session,
    Setup,
    Shooter,
    ShotRecord,
)
from groupscan.records.photos import add_photo
from groupscan.records.store import (
    add_setup,
    get_session,
    list_scans,
    list_sessions,
    load_scan,
    save_build,
    save_rig,
    save_scan,
    save_session,
    save_shooter,
)
from groupscan.screens.desk import last_labels
from groupscan.screens.hand_marks import keep_marks
from groupscan.screens.hole_editor import LabelDefaults
from groupscan.screens.photo_desk import keep_edit
from tests.screens.screen_records import scan_record

ROOT = Path(__file__).parents[2]
SAMPLE = ROOT / "sample_targets" / "07_one_aim_square_on.jpg"
PLAIN = ROOT / "sample_targets" / "06_letter_plain.jpg"


def app():
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
    at.run()
    assert not at.exception
    return at


def upload(at, *files):
    at.file_uploader[0].set_value([(name, data, "image/jpeg") for name, data in files]).run()
    scan = next(button for button in at.button if button.label == "Scan")
    scan.click().run()
    assert not at.exception
    return at


def words(at):
    return " ".join(
        element.value
        for kind in (at.markdown, at.warning, at.error, at.success, at.info, at.caption)
        for element in kind
    )


@pytest.fixture
def scanned(home):
    return upload(app(), (SAMPLE.name, SAMPLE.read_bytes()))


def test_an_empty_desk_teaches(home):
    at = app()
    assert "Start with a photo" in words(at)
    assert "never shoot a cracked one" in words(at)
    assert next(b for b in at.button if b.label == "Scan").disabled


def test_what_is_no_photo_is_told_and_not_kept(home, store):
    at = upload(app(), ("a *b*.jpg", b"no photo at all"), ("empty.jpg", b""))
    assert len(at.error) == 2
    assert r"\*b\*" in at.error[0].value  # a name is shown as it is, not as markup
    assert list_drafts(store) == {}
    assert not [path for path in (home / "photos").rglob("*") if path.is_file()]


def test_one_bad_photo_does_not_stop_the_others(home, store):
    at = upload(app(), ("bad.jpg", b"bad"), (SAMPLE.name, SAMPLE.read_bytes()))
    assert len(at.error) == 1
    assert len(list_drafts(store)) == 1


def test_a_scan_says_what_it_recognised_and_measures(scanned):
    truth = json.loads(SAMPLE.with_suffix(".json").read_text(encoding="utf-8"))
    assert "one pixel is" in words(scanned)
    assert f"{len(truth['holes'])} holes" in words(scanned)


def test_a_draft_survives_a_new_visit(scanned):
    again = app()
    assert "one pixel is" in words(again)


def test_a_correction_is_kept_in_the_draft(scanned, store):
    """AppTest fires no component callback: the callback is called as the page would."""
    desk = scanned.session_state["desk"]
    item = next(iter(desk.items.values()))
    started = desk.started[item.sha256]
    points = [
        {"id": p.id, "x": p.x + 40 * (i == 0), "y": p.y, "head": "", "arrow": "", "removed": False}
        for i, p in enumerate(started)
    ]
    edit = {"image_id": item.key, "rev": desk.revs[item.sha256], "points": points, "aim": None}

    def moved():
        draft = list_drafts(store)[item.sha256]
        return [s["x_mm"] != s["auto_x_mm"] for s in draft["record"]["shots"]]

    import streamlit as st

    st.session_state["w"] = {"edit": {**edit, "rev": edit["rev"] - 1}}
    keep_edit(store, desk, item.sha256, "w")
    assert not any(moved())  # it began from points that were replaced since
    st.session_state["w"] = {"edit": edit}
    keep_edit(store, desk, item.sha256, "w")
    assert moved() == [True] + [False] * (len(started) - 1)
    (again,) = app().session_state["desk"].items.values()
    assert again.record.shots[0].x_mm != again.record.shots[0].auto_x_mm


def test_saving_files_the_end_under_its_session(scanned, store):
    next(t for t in scanned.text_input if t.label == "Place").set_value("Alder <b>Flats</b>").run()
    far = [t for t in scanned.text_input if t.label == "Distance"][-1]
    far.set_value("20 yd").run()
    next(b for b in scanned.button if b.label == "Save to the records").click().run()
    assert not scanned.exception
    assert "is in the records" in words(scanned)
    (row,) = list_sessions(store).to_dict("records")
    assert (row["place"], row["distance_m"], row["ends"]) == ("Alder <b>Flats</b>", 18.288, 1)
    assert list_drafts(store) == {}
    scan = load_scan(store, int(list_scans(store)["id"][0]))
    assert all(shot.auto_x_mm == shot.x_mm for shot in scan.shots)


def test_a_press_that_comes_with_the_distance_typed_saves_at_that_distance(scanned, store):
    far = [t for t in scanned.text_input if t.label == "Distance"][-1]
    far.set_value("far")
    button(scanned, "Save to the records").click().run()
    assert list_scans(store).empty  # what cannot be read is told, and nothing is saved later
    assert [t for t in scanned.error if "far" in t.value]
    far = [t for t in scanned.text_input if t.label == "Distance"][-1]
    far.set_value("25 yd").run()
    assert list_scans(store).empty
    far = [t for t in scanned.text_input if t.label == "Distance"][-1]
    far.set_value("20 yd")
    button(scanned, "Save to the records").click().run()
    assert "is in the records" in words(scanned)
    (row,) = list_sessions(store).to_dict("records")
    assert row["distance_m"] == 18.288


def test_all_corrections_can_be_dropped_and_the_scan_repeated(scanned, store):
    desk = scanned.session_state["desk"]
    (item,) = desk.items.values()
    without = replace(item.record, shots=tuple(replace(s, removed=True) for s in item.record.shots))
    desk.put(store, replace(item, record=without))
    scanned.run()
    assert "No holes to measure yet" in words(scanned)
    rev = desk.revs[item.sha256]
    next(b for b in scanned.button if b.label == "Drop all corrections").click().run()
    assert f"{len(item.record.shots)} holes" in words(scanned)
    assert desk.revs[item.sha256] > rev  # the page takes these points in place of its own
    next(b for b in scanned.button if b.label == "Scan it again").click().run()
    assert not scanned.exception
    assert f"{len(item.record.shots)} holes" in words(scanned)


def test_the_same_photo_again_opens_what_was_saved(scanned, store):
    next(b for b in scanned.button if b.label == "Save to the records").click().run()
    at = upload(app(), (SAMPLE.name, SAMPLE.read_bytes()))
    assert "in the records already" in words(at)
    assert len(list_scans(store)) == 1


def test_a_distance_that_cannot_be_read_is_told_before_anything_is_scanned(home):
    at = app()
    next(t for t in at.text_input if t.label == "Distance").set_value("far").run()
    assert len(at.error) == 1
    assert next(b for b in at.button if b.label == "Scan").disabled


def test_a_sheet_that_gives_no_scale_asks_for_marks_by_hand(home, store, monkeypatch):
    refuse_scales(monkeypatch)
    at = upload(app(), (PLAIN.name, PLAIN.read_bytes()))
    assert "Give the scale by hand" in words(at)
    next(b for b in at.button if b.label == "Scan with these marks").click().run()
    assert "Set all 2 marks" in words(at)
    truth = json.loads(PLAIN.with_suffix(".json").read_text(encoding="utf-8"))
    next(r for r in at.radio if "know on this photo" in r.label).set_value("corners").run()
    (item,) = at.session_state["desk"].items.values()
    assert item.marks_kind == "corners"

    marked = replace(item, marks_px=tuple(tuple(c) for c in truth["corners_px"]))
    at.session_state["desk"].put(store, marked)
    width, height = truth["sheet_size_mm"]
    size = next(t for t in at.text_input if t.label == "Its width and height")
    size.set_value(f"{width} x {height} mm").run()
    next(b for b in at.button if b.label == "Scan with these marks").click().run()
    assert not at.exception
    (item,) = at.session_state["desk"].items.values()
    assert item.record is not None
    assert item.record.scale_source == "corners"
    assert "from the four corners" in words(at)


@pytest.mark.parametrize(("named", "hint"), [(None, "ring-60"), ("ring-80", None)])
def test_a_sheet_left_to_the_scan_is_likely_that_of_the_last_end(
    home, store, monkeypatch, named, hint
):
    sha256 = add_photo(store, b"an earlier photo", name="end.jpg", size_px=(1000, 800))
    session_id = save_session(store, Session(held_on=date(2026, 5, 2)))
    save_scan(
        store,
        scan_record((1.0, 2.0), session_id=session_id, photo_sha256=sha256, sheet="ring-60"),
    )
    hints = []

    def scan_photo(photo, *, likely=None, **kwargs):
        hints.append(likely)
        raise MarksError("no marks here")

    monkeypatch.setattr("groupscan.photo.scan.scan_photo", scan_photo)
    at = app()
    next(box for box in at.selectbox if box.label == "Sheet").set_value(named).run()
    upload(at, (SAMPLE.name, SAMPLE.read_bytes()))
    assert hints == [hint]


def test_an_error_that_nobody_foresaw_stops_one_photo_and_keeps_nothing_of_it(
    home, store, monkeypatch
):
    from groupscan.photo import scan

    real = scan.scan_photo

    def sometimes(photo, **options):
        if photo.name == "odd.jpg":
            raise ZeroDivisionError("a bug")
        return real(photo, **options)

    monkeypatch.setattr(scan, "scan_photo", sometimes)
    at = upload(app(), ("odd.jpg", PLAIN.read_bytes()), (SAMPLE.name, SAMPLE.read_bytes()))
    (told,) = (error.value for error in at.error)
    assert "odd" in told
    assert "unexpected ZeroDivisionError" in told
    assert "please report this photo" in told
    (kept,) = list_drafts(store)
    assert [path.stem for path in (home / "photos").rglob("*") if path.is_file()] == [kept]


@pytest.mark.parametrize("shaft", ["5.4 in", "0.54", "-5 mm", "thick"])
def test_a_shaft_that_no_arrow_has_is_told_before_anything_is_scanned(home, shaft):
    at = app()
    next(t for t in at.text_input if t.label == "Shaft diameter").set_value(shaft).run()
    assert len(at.error) == 1
    assert next(b for b in at.button if b.label == "Scan").disabled


@pytest.mark.parametrize("asked", ["²", "9" * 5000, "-1", "one", ""])
def test_an_address_that_names_no_scan_opens_an_ordinary_desk(home, asked):
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
    at.query_params["scan"] = asked
    at.run()
    assert not at.exception
    assert "Start with a photo" in words(at)


def test_a_scan_changed_elsewhere_is_told_and_its_corrections_stay(scanned, store):
    next(b for b in scanned.button if b.label == "Save to the records").click().run()
    record = load_scan(store, int(list_scans(store)["id"][0]))
    save_scan(store, replace(record, aim_mm=(1.0, 2.0)))
    next(b for b in scanned.button if b.label == "Drop all corrections").click().run()
    assert not scanned.exception
    assert "has been changed since" in words(scanned)
    assert load_scan(store, record.id).aim_mm == (1.0, 2.0)


def test_a_draft_that_cannot_be_written_is_told_wherever_it_is_kept(scanned, store, monkeypatch):
    desk = scanned.session_state["desk"]
    (item,) = desk.items.values()
    refuse_drafts(monkeypatch)
    next(t for t in scanned.text_input if t.label == "Place").set_value("Alder Flats").run()
    assert not scanned.exception
    assert "the disk is full" in words(scanned)
    assert desk.items[item.sha256].session.place == ""


def test_marks_that_cannot_be_kept_are_told(home, store, monkeypatch):
    import streamlit as st

    refuse_scales(monkeypatch)
    at = upload(app(), (PLAIN.name, PLAIN.read_bytes()))
    desk = at.session_state["desk"]
    (item,) = desk.items.values()
    refuse_drafts(monkeypatch)
    next(r for r in at.radio if "know on this photo" in r.label).set_value("corners").run()
    assert not at.exception
    assert "the disk is full" in words(at)
    point = {"id": "u1", "x": 9.0, "y": 9.0, "head": "", "arrow": "", "removed": False}
    edit = {"image_id": item.key, "rev": desk.revs[item.sha256], "points": [point], "aim": None}
    st.session_state["w"] = {"edit": edit}
    keep_marks(store, desk, item.sha256, "w")
    assert "the disk is full" in st.session_state.pop(f"trouble_{item.key}")
    assert desk.items[item.sha256].marks_px == ()


def refuse_drafts(monkeypatch):
    def full(*_arguments):
        raise StoreError("the disk is full: free some space")

    monkeypatch.setattr("groupscan.screens.desk.keep_draft", full)


def refuse_scales(monkeypatch):
    """Let no photo give its scale by itself."""
    from groupscan.photo import scan

    real = scan.scan_photo

    def by_hand_only(photo, *, hand_marks=None, **options):
        if hand_marks is None:
            raise MarksError("nothing here gives a scale")
        return real(photo, hand_marks=hand_marks, **options)

    monkeypatch.setattr(scan, "scan_photo", by_hand_only)


def test_the_form_keeps_purpose_and_weather_and_offers_known_names(home, store):
    known = Session(
        held_on=date(2026, 5, 2), shooter="Tamsin Orrell", rig="Heron", temperature_c=100 / 9
    )
    save_session(store, known)
    at = upload(app(), (SAMPLE.name, SAMPLE.read_bytes()))

    def field(kind, label):
        return next(widget for widget in getattr(at, kind) if widget.label == label)

    assert "Tamsin Orrell" in field("selectbox", "Shooter").options
    field("selectbox", "Shooter").select("Tamsin Orrell").run()
    field("selectbox", "Rig").select("Heron").run()
    field("text_input", "Purpose").input("tuning").run()
    field("text_input", "Weather").input("gusts").run()
    field("text_input", "Temperature").input("54 F").run()
    field("text_input", "Wind").input("7 mph").run()
    next(button for button in at.button if button.label == "Save to the records").click().run()
    assert not at.exception
    newest = get_session(store, int(list_sessions(store)["id"].iloc[0]))
    assert (newest.shooter, newest.rig) == ("Tamsin Orrell", "Heron")
    assert (newest.purpose, newest.weather) == ("tuning", "gusts")
    assert newest.temperature_c == pytest.approx(12.2222222)
    assert newest.wind_m_s == pytest.approx(3.12928)
    assert "Save these particulars" not in [button.label for button in at.button]
    field("text_input", "Wind").input("strong").run()
    assert "not a number and a unit" in words(at)
    # Shown with fewer digits, it is still the same to the last one.
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
    at.query_params["scan"] = str(list_scans(store)["id"].iloc[-1])
    at.run()
    assert field("text_input", "Temperature").value == "12.222 °C"
    assert "Save these particulars" not in [button.label for button in at.button]


def test_on_empty_records_a_rig_and_a_shooter_are_typed(scanned, store):
    next(t for t in scanned.text_input if t.label == "Shooter").input("Tamsin <b>").run()
    next(t for t in scanned.text_input if t.label == "Rig").input(" Heron ").run()
    button(scanned, "Save to the records").click().run()
    assert not scanned.exception
    session = get_session(store, int(list_sessions(store)["id"].iloc[0]))
    assert (session.shooter, session.rig) == ("Tamsin <b>", "Heron")
    rig = next(box for box in scanned.selectbox if box.label == "Rig")  # known from now on
    assert (rig.value, "Save these particulars" in [b.label for b in scanned.button]) == (
        "Heron",
        False,
    )


def test_marked_flyers_are_said_to_count(scanned, store):
    desk = scanned.session_state["desk"]
    (item,) = desk.items.values()
    first, second, *rest = item.record.shots
    for marked, said in (
        ((replace(first, flyer=True), second), "1 hole is marked as a flyer and counts here"),
        ((replace(first, flyer=True), replace(second, flyer=True)), "2 holes are marked as flyers"),
    ):
        assert said not in words(scanned)
        desk.put(store, replace(item, record=replace(item.record, shots=(*marked, *rest))))
        scanned.run()
        assert said in words(scanned)


def test_a_typed_end_has_no_photo_and_says_so(home, store):
    session_id = save_session(store, Session(held_on=date(2026, 5, 2)))
    end = ScanRecord(session_id=session_id, shots=(ShotRecord(number=1, x_mm=1.0, y_mm=2.0),))
    at = AppTest.from_file(str(ROOT / "app.py"), default_timeout=60)
    at.query_params["scan"] = str(save_scan(store, end))
    at.run()
    assert not at.exception
    assert "was typed and has no photo" in words(at)


def button(at, label):
    return next(button for button in at.button if button.label == label)


def test_the_next_end_is_two_taps_away_and_needs_no_further_one(scanned, store):
    button(scanned, "Save to the records").click().run()
    button(scanned, "Next end").click().run()
    assert "Ready for the next end" in words(scanned)
    assert scanned.session_state["desk"].items == {}
    (saved,) = list_scans(store)["id"]
    next_photo = ROOT / "sample_targets" / "12_one_aim_dusk.jpg"
    scanned.file_uploader[0].set_value((next_photo.name, next_photo.read_bytes(), "image/jpeg"))
    scanned.run()
    assert not scanned.exception
    (item,) = scanned.session_state["desk"].items.values()
    assert item.name == next_photo.name
    assert load_scan(store, int(saved)).shots  # the one before stays in the records


def test_with_unsaved_photos_on_the_desk_the_next_end_is_one_of_them(scanned, store):
    button(scanned, "Save to the records").click().run()
    desk = scanned.session_state["desk"]
    (item,) = desk.items.values()
    waiting = replace(item, sha256="cd" * 32, record=None, trouble="no scale here")
    desk.put(store, waiting)
    button(scanned, "Next end").click().run()
    assert list(desk.items) == [waiting.sha256]
    assert "Ready for the next end" not in words(scanned)


def test_a_stopped_scan_keeps_what_was_scanned_and_says_what_was_not(home, store):
    from groupscan.screens.desk import Ask, Desk, Upload
    from groupscan.screens.intake import _stop

    desk = Desk(asked=Ask())
    desk.queue = [Upload(f"{i}.jpg", b"", i, 3) for i in (2, 3)]
    _stop(desk)
    assert desk.queue == []
    ((level, text),) = desk.news
    assert level == "warning"
    assert "2 photos were not scanned" in text
    _stop(desk)  # a second tap finds nothing to stop
    assert len(desk.news) == 1


def test_setup_and_build_are_chosen_among_those_of_the_rig(scanned, store):
    shooter = save_shooter(store, Shooter(name="Tamsin Orrell"))
    rig = save_rig(store, Rig(name="Heron", shooter_id=shooter))
    other = save_rig(store, Rig(name="Slate", shooter_id=shooter))
    build = save_build(store, Build(name="brass", shooter_id=shooter))
    old = add_setup(store, Setup(rig_id=rig, since=date(2026, 3, 1), changed="first"))
    add_setup(store, Setup(rig_id=rig, since=date(2026, 4, 1), changed="new <b>string</b>"))
    add_setup(store, Setup(rig_id=other, since=date(2026, 4, 2), changed="of another rig"))

    def field(label):
        return next(box for box in scanned.selectbox if box.label == label)

    scanned.run()
    assert not [box for box in scanned.selectbox if box.label == "Setup"]  # no rig is said yet
    field("Shooter").select("Tamsin Orrell").run()
    field("Rig").select("Heron").run()
    assert len(field("Setup").options) == 3
    assert not any("another rig" in text for text in field("Setup").options)
    field("Setup").select(old).run()
    field("Arrow build").select(build).run()
    button(scanned, "Save to the records").click().run()
    assert not scanned.exception
    session = get_session(store, int(list_sessions(store)["id"].iloc[0]))
    assert (session.setup_id, session.build_id) == (old, build)


def test_labelling_begins_as_the_last_end_was_labelled(store):
    session_id = save_session(store, Session(held_on=date(2026, 5, 2)))
    sha256 = add_photo(store, b"an end", name="end.jpg", size_px=(1000, 800))
    record = scan_record((0, 0), (9, 0), (0, 9), session_id=session_id, photo_sha256=sha256)
    numbers = ("3", "1", "2")
    shots = tuple(
        replace(shot, head="field point", arrow=number)
        for shot, number in zip(record.shots, numbers, strict=True)
    )
    save_scan(store, replace(record, shots=shots))
    assert last_labels(store) == LabelDefaults("field point", numbers)
    assert last_labels(store, but=sha256) == LabelDefaults()
    mixed = (replace(shots[0], head="broadhead"), *shots[1:])
    other = add_photo(store, b"another", name="end.jpg", size_px=(1000, 800))
    save_scan(store, replace(record, photo_sha256=other, shots=mixed))
    assert last_labels(store) == LabelDefaults("", numbers)
