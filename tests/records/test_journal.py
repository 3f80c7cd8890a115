"""A line for each correction: what a row was and what it became, and none for what stayed."""

import getpass
from dataclasses import fields, replace
from datetime import UTC, date, datetime, timedelta

import pytest

from groupscan.records import schema
from groupscan.records.entries import ShotRecord
from groupscan.records.store import (
    Arrow,
    Build,
    Head,
    Rig,
    Session,
    Setup,
    Shooter,
    add_photo,
    add_setup,
    delete_entry,
    get_arrow,
    get_build,
    get_head,
    get_rig,
    get_session,
    get_shooter,
    list_arrows,
    list_corrections,
    list_identities,
    load_scan,
    restore_entry,
    save_arrow,
    save_build,
    save_head,
    save_rig,
    save_scan,
    save_session,
    save_shooter,
)

BACKENDS = ("sqlite", "postgresql")
DAY = date(2026, 5, 3)


def uid_of(store, entry: str, key: int) -> str:
    return next(uid for uid, known in list_identities(store, entry).items() if known == key)


def only_line(store):
    lines = list_corrections(store)
    assert len(lines) == 1, lines
    return lines.iloc[0]


SHOT_CHANGES = {
    "number": 9,
    "x_mm": 1.5,
    "y_mm": -2.5,
    "x_px": 11.0,
    "y_px": None,
    "se_mm": 0.9,
    "diameter_mm": None,
    "cut": "three-blade",
    "confidence": 0.125,
    "state": "patched",
    "order": 12,
    "head": "Wide",
    "arrow": "7",
    "flyer": True,
    "flyer_why": "let go early",
    "removed": True,
}
WRITTEN_ONCE = {"auto_x_mm", "auto_y_mm", "auto_se_mm", "auto_shared_se_mm", "id"}


def test_every_column_of_a_shot_has_a_correction_below():
    assert set(SHOT_CHANGES) | WRITTEN_ONCE == {field.name for field in fields(ShotRecord)}


@pytest.mark.parametrize("name", SHOT_CHANGES)
def test_a_correction_of_a_shot_is_noted_with_what_it_was(store, make_scan, name):
    saved = save_scan(store, make_scan())
    record = load_scan(store, saved)
    was, *others = record.shots
    change = SHOT_CHANGES[name]
    save_scan(store, replace(record, shots=(replace(was, **{name: change}), *others)))
    line = only_line(store)
    assert (line["action"], line["entry"]) == ("changed", "shot")
    assert line["entry_uid"] == uid_of(store, "shot", was.id)
    before = getattr(was, name)
    if name in ("head", "arrow"):  # told by identity, which holds in other stores too
        uids = list_identities(store, name)
        assert (line["before"], line["after"]) == ({name: None}, {name: next(iter(uids))})
    else:
        column = {"order": "shot_order"}.get(name, name)
        assert (line["before"], line["after"]) == ({column: before}, {column: change})
    after = next(shot for shot in load_scan(store, saved).shots if shot.id == was.id)
    assert after == replace(was, **{name: change})


def test_the_position_that_the_scan_found_cannot_be_corrected(store, make_scan):
    saved = save_scan(store, make_scan())
    record = load_scan(store, saved)
    changes = dict.fromkeys(WRITTEN_ONCE - {"id"}, 5.0)
    save_scan(store, replace(record, shots=tuple(replace(s, **changes) for s in record.shots)))
    assert load_scan(store, saved).shots == record.shots
    assert list_corrections(store).empty


def test_saving_what_did_not_change_notes_nothing(store, make_scan, make_shot):
    shots = (make_shot(1, head="Wide", arrow="1"), make_shot(2, removed=True))
    saved = save_scan(store, make_scan(shots=shots))
    save_scan(store, load_scan(store, saved))
    session_id = load_scan(store, saved).session_id
    save_session(store, get_session(store, session_id))
    save_session(store, replace(get_session(store, session_id), plan={"a": [1.0, None]}))
    assert len(list_corrections(store)) == 1
    save_session(store, get_session(store, session_id))
    build = save_build(store, Build(name="Long", mass_g=25.0))
    save_build(store, get_build(store, build))
    arrow = save_arrow(store, Arrow(number="9", build_id=build, state="broken", state_since=DAY))
    save_arrow(store, get_arrow(store, arrow))
    assert len(list_corrections(store)) == 1


def test_what_is_new_is_no_correction(store, make_scan, make_shot):
    saved = save_scan(store, make_scan(shots=(make_shot(1),)))
    record = load_scan(store, saved)
    save_scan(store, replace(record, shots=(*record.shots, make_shot(2, head="Wide"))))
    assert list_corrections(store).empty


def test_each_corrected_shot_has_its_own_line(store, make_scan):
    saved = save_scan(store, make_scan(count=4))
    record = load_scan(store, saved)
    one, two, three, _ = record.shots
    moved = (replace(one, x_mm=0.0, y_mm=0.0), two, replace(three, number=1))
    save_scan(store, replace(record, shots=(replace(moved[0], number=3), two, moved[2])))
    lines = list_corrections(store).set_index("entry_uid")
    uids = {shot.id: uid_of(store, "shot", shot.id) for shot in record.shots}
    assert set(lines.index) == {uids[record.shots[k].id] for k in (0, 2, 3)}
    assert lines.loc[uids[one.id], "after"] == {"number": 3, "x_mm": 0.0, "y_mm": 0.0}
    assert lines.loc[uids[three.id], "before"] == {"number": 3}
    assert lines.loc[uids[record.shots[3].id], "after"] == {"removed": True}


@pytest.mark.parametrize(
    ("change", "before", "after"),
    [
        ({"label": "first"}, {"label": ""}, {"label": "first"}),
        ({"aim_mm": (5.0, -0.2)}, {"aim_x_mm": 0.1}, {"aim_x_mm": 5.0}),
        ({"lens": None}, {"lens": {"k1": -0.02 / 3}}, {"lens": None}),
        ({"warnings": ()}, {"warnings": ["two holes overlap"]}, {"warnings": []}),
        ({"sheet": None}, {"sheet": "ring-40"}, {"sheet": None}),
        ({"mm_per_px": 0.25}, {"mm_per_px": 0.1 + 0.2}, {"mm_per_px": 0.25}),
    ],
)
def test_a_correction_of_an_end_is_noted(store, make_scan, change, before, after):
    saved = save_scan(store, make_scan())
    save_scan(store, replace(load_scan(store, saved), **change))
    line = only_line(store)
    assert (line["entry"], line["entry_uid"]) == ("scan", uid_of(store, "scan", saved))
    assert (line["before"], line["after"]) == (before, after)


def test_an_end_that_gets_a_photo_or_another_session_says_so(store, make_scan):
    saved = save_scan(store, make_scan())
    record = load_scan(store, saved)
    photo = add_photo(store, b"another photo", name="b.jpg")
    other = save_session(store, Session(held_on=DAY, shooter="Ada Fenwick"))
    save_scan(store, replace(record, photo_sha256=photo, session_id=other))
    line = only_line(store)
    assert line["before"]["photo_sha256"] == record.photo_sha256
    assert line["after"] == {"photo_sha256": photo, "session": uid_of(store, "session", other)}


SESSION_CHANGES = {
    "held_on": (date(2026, 6, 1), "2026-05-03", "2026-06-01"),
    "place": ("Barn", "", "Barn"),
    "distance_m": (18.288, None, 18.288),
    "purpose": ("tuning", "", "tuning"),
    "weather": ("gusts", "", "gusts"),
    "temperature_c": (-3.5, None, -3.5),
    "pressure_pa": (101325.0, None, 101325.0),
    "humidity": (0.4, None, 0.4),
    "wind_m_s": (0.0, None, 0.0),
    "plan": ({"order": [1, 2]}, None, {"order": [1, 2]}),
    "notes": ("n", "", "n"),
}
REFERENCES = {"shooter", "rig", "setup_id", "build_id"}


def test_every_column_of_a_session_has_a_correction_below():
    given = {"shooter_id", "rig_id", "uid", "id", "revision"}
    assert set(SESSION_CHANGES) | REFERENCES | given == {field.name for field in fields(Session)}


@pytest.mark.parametrize("name", SESSION_CHANGES)
def test_a_correction_of_a_session_is_noted(store, name):
    saved = save_session(store, Session(held_on=DAY))
    value, before, after = SESSION_CHANGES[name]
    save_session(store, replace(get_session(store, saved), **{name: value}))
    line = only_line(store)
    assert (line["entry"], line["entry_uid"]) == ("session", uid_of(store, "session", saved))
    assert (line["before"], line["after"]) == ({name: before}, {name: after})


def test_another_shooter_rig_setup_and_build_are_told_by_identity(store):
    rig = save_rig(store, Rig(name="Heron 62"))
    build = save_build(store, Build(name="Long"))
    setup = add_setup(store, Setup(rig_id=rig, since=DAY, build_id=build))
    saved = save_session(store, Session(held_on=DAY))
    save_session(store, replace(get_session(store, saved), shooter="Ada", rig="Heron 62"))
    line = only_line(store)
    shooter = next(iter(list_identities(store, "shooter")))
    assert line["before"] == dict.fromkeys(("shooter", "rig", "setup", "build"))
    assert line["after"] == {
        "shooter": shooter,
        "rig": uid_of(store, "rig", rig),
        "setup": uid_of(store, "setup", setup),
        "build": uid_of(store, "build", build),
    }


GEAR = [
    (save_shooter, get_shooter, Shooter(name="A"), {"name": "B"}),
    (save_shooter, get_shooter, Shooter(name="A", goals="gold"), {"goals": ""}),
    (save_rig, get_rig, Rig(name="R"), {"bow": "longbow"}),
    (save_build, get_build, Build(name="B", point_g=8.0), {"point_g": 0.0}),
    (save_build, get_build, Build(name="B"), {"balance_mm": 400.5}),
    (save_arrow, get_arrow, Arrow(number="1"), {"mass_g": 25.5}),
    (save_head, get_head, Head(name="H"), {"blades": 3}),
]


@pytest.mark.parametrize(("save", "get", "entry", "change"), GEAR)
def test_a_correction_of_gear_is_noted(store, save, get, entry, change):
    kept = get(store, save(store, entry))
    save(store, replace(kept, **change))
    line = only_line(store)
    name = type(entry).__name__.lower()
    assert (line["entry"], line["entry_uid"]) == (name, uid_of(store, name, kept.id))
    assert line["before"] == {field: getattr(entry, field) for field in change}
    assert line["after"] == change


def test_an_arrow_that_breaks_is_noted_with_its_day(store):
    kept = get_arrow(store, save_arrow(store, Arrow(number="1")))
    save_arrow(store, replace(kept, state="broken", state_since=DAY, state_why="cracked"))
    line = only_line(store)
    assert line["before"] == {"state": "in use", "state_since": None, "state_why": ""}
    assert line["after"] == {
        "state": "broken", "state_since": "2026-05-03", "state_why": "cracked",
    }  # fmt: skip


def test_a_line_tells_who_and_when(store, monkeypatch):
    monkeypatch.setattr(getpass, "getuser", lambda: "ada")
    start = datetime.now(UTC) - timedelta(seconds=1)
    saved = save_head(store, Head(name="H"))
    save_head(store, replace(get_head(store, saved), name="G"))

    def nobody() -> str:
        raise KeyError("uid 1234")

    monkeypatch.setattr(getpass, "getuser", nobody)
    save_head(store, replace(get_head(store, saved), name="F"))
    lines = list_corrections(store)
    assert lines["actor"].tolist() == ["", "ada"]
    assert ((lines["at"] > start) & (lines["at"] < datetime.now(UTC))).all()


def test_deleting_twice_and_restoring_twice_is_noted_once(store):
    saved = save_head(store, Head(name="H"))
    for _ in range(2):
        delete_entry(store, "head", saved)
    for _ in range(2):
        restore_entry(store, "head", saved)
    lines = list_corrections(store)
    assert lines["action"].tolist() == ["restored", "deleted"]
    assert lines["entry_uid"].tolist() == [uid_of(store, "head", saved)] * 2
    assert lines["before"].tolist() == lines["after"].tolist() == [{}, {}]


def test_a_correction_that_fails_leaves_no_line(store, make_scan):
    saved = save_scan(store, make_scan())
    record = load_scan(store, saved)
    save_scan(store, replace(record, label="first"))
    with pytest.raises(Exception, match="load it again"):
        save_scan(store, replace(record, label="second"))
    assert list_corrections(store)["after"].tolist() == [{"label": "first"}]


def test_the_lines_of_one_entry_and_the_last_ones(store):
    keys = [save_head(store, Head(name=name)) for name in ("A", "B")]
    for turn in range(3):
        for key in keys:
            save_head(store, replace(get_head(store, key), notes=str(turn)))
    uid = uid_of(store, "head", keys[0])
    of_one = list_corrections(store, uid=uid)
    assert [line["notes"] for line in of_one["after"]] == ["2", "1", "0"]
    assert set(of_one["entry_uid"]) == {uid}
    assert list_corrections(store, last=2)["after"].tolist() == [{"notes": "2"}] * 2
    assert [line["notes"] for line in list_corrections(store, uid=uid, last=1)["after"]] == ["2"]


def test_lines_are_never_changed_by_what_comes_after(store):
    saved = save_head(store, Head(name="A"))
    save_head(store, replace(get_head(store, saved), name="B"))
    with store.reader.connect() as connection:
        first = connection.execute(schema.audit.select()).all()
    save_head(store, replace(get_head(store, saved), name="C"))
    delete_entry(store, "head", saved)
    with store.reader.connect() as connection:
        assert connection.execute(schema.audit.select().order_by("id")).all()[:1] == first
    assert list_arrows(store).empty
