"""Many sessions with their ends at once: in order, and all of them or none."""

from contextlib import closing
from dataclasses import replace
from datetime import date, timedelta

import pytest
import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records import schema
from groupscan.records.entries import Rig
from groupscan.records.store import (
    Outing,
    ScanRecord,
    Session,
    Setup,
    Shooter,
    ShotRecord,
    add_photo,
    add_setup,
    delete_entry,
    get_session,
    list_arrows,
    list_corrections,
    list_heads,
    list_identities,
    list_rigs,
    list_scans,
    list_sessions,
    list_shooters,
    load_scan,
    open_store,
    save_outings,
    save_rig,
    save_scan,
    save_session,
    save_shooter,
    shots_frame,
)

BACKENDS = ("sqlite", "postgresql")
DAY = date(2026, 5, 3)


def end(*places: float, **changes) -> ScanRecord:
    shots = tuple(
        ShotRecord(number=k, x_mm=x, y_mm=-x, order=k, head="field point", arrow=str(k))
        for k, x in enumerate(places, start=1)
    )
    return ScanRecord(session_id=0, shots=shots, **changes)


def test_a_thousand_sessions_keep_their_order_and_their_ends(store):
    # More rows than go into one statement, so that ids must be told apart over several.
    outings = [
        Outing(
            Session(held_on=DAY + timedelta(days=k % 7), place=str(k), shooter=f"S{k % 3}"),
            [end(k + 0.25, k + 0.5, label=f"{k} a"), end(k + 0.75, label=f"{k} b")],
        )
        for k in range(1300)
    ]
    keys = save_outings(store, outings)
    assert keys == sorted(set(keys))
    frame = shots_frame(store)
    assert len(frame) == 3 * 1300
    assert (frame["session_id"] == frame["place"].astype(int).map(dict(enumerate(keys)))).all()
    place = frame["place"].astype(float)
    label = frame["label"].str.split()
    assert (label.str[0] == frame["place"]).all()
    second = (frame["number"] == 2) * 0.25 + (label.str[1] == "b") * 0.5
    assert (frame["x_mm"] == place + 0.25 + second).all()
    assert sorted(list_shooters(store)["name"]) == ["S0", "S1", "S2"]
    assert list_heads(store)["name"].tolist() == ["field point"]
    assert len(list_arrows(store)) == 2 * 3  # the numbers 1 and 2 of each shooter
    assert list_corrections(store).empty


def test_a_saved_outing_comes_back_as_saving_one_by_one_would(store, tmp_path):
    photo = add_photo(store, b"a photo", name="end.jpg")
    rig = save_rig(store, Rig(name="Heron 62"))
    setup = add_setup(store, Setup(rig_id=rig, since=DAY))
    entry = Session(held_on=DAY, shooter="Ada", rig="Heron 62", plan={"ends": [1, 2]})
    record = end(
        1.0, 2.0, photo_sha256=photo, image_size_px=(4, 3),
        mm_to_px=((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)), lens={"k1": -0.1},
    )  # fmt: skip
    [key] = save_outings(store, [Outing(entry, [record])])
    plain = save_session(store, entry)
    same = {"id": None, "revision": None}
    assert replace(get_session(store, key), **same) == replace(get_session(store, plain), **same)
    assert get_session(store, key).setup_id == setup
    scans = [int(list_scans(store, key)["id"].iloc[0])]
    scans.append(save_scan(store, replace(record, session_id=plain)))
    first, second = (
        replace(
            load_scan(store, one), session_id=0, id=None,
            shots=tuple(replace(shot, id=None) for shot in load_scan(store, one).shots),
        )
        for one in scans
    )  # fmt: skip
    assert first == second == replace(record, revision=1)


def test_ends_are_added_to_a_session_that_is_there(store):
    key = save_session(store, Session(held_on=DAY, shooter="Ada", notes="mine"))
    before = get_session(store, key)
    changed = replace(before, notes="not looked at")
    assert save_outings(store, [Outing(changed, [end(1.0)]), Outing(before, [end(2.0)])]) == [
        key,
        key,
    ]
    assert get_session(store, key) == before
    assert list_sessions(store)[["ends", "shots"]].to_numpy().tolist() == [[2, 2]]
    arrows = list_arrows(store)
    assert arrows["shooter"].tolist() == ["Ada"]


GOOD = Outing(Session(held_on=DAY, shooter="Ada", rig="Heron 62"), [end(1.0, 2.0)])


@pytest.mark.parametrize(
    ("bad", "words"),
    [
        (Outing(Session(held_on=DAY, distance_m=-1.0)), "distance"),
        (Outing(Session(held_on=DAY), [end(1.0, float("nan"))]), "x_mm of shot 2"),
        (Outing(Session(held_on=DAY), [end(1.0, scale_source="x", photo_sha256="0" * 64)]), "part"),
        (
            Outing(
                Session(held_on=DAY),
                [end(photo_sha256="0" * 64, image_size_px=(1, 1), mm_to_px=((1,) * 3,) * 3)],
            ),
            "add_photo first",
        ),
        (Outing(Session(held_on=DAY, id=99), [end(1.0)]), "no session 99"),
        (Outing(Session(held_on=DAY, setup_id=99)), "no setup 99"),
        (Outing(Session(held_on=DAY, build_id=99)), "no build 99"),
        (Outing(Session(held_on=DAY), [end(1.0, id=7)]), "scan 7 is in the records"),
        (Outing(Session(held_on=DAY, uid="0" * 32)), "break a rule"),
        (
            Outing(Session(held_on=DAY), [end(1.0, uid="1" * 32), end(2.0, uid="1" * 32)]),
            "break a rule",
        ),
        (Outing(Session(held_on=DAY, uid="not one")), "32 hexadecimal digits"),
    ],
)
def test_one_that_cannot_be_stored_keeps_all_of_them_out(store, bad, words):
    save_session(store, Session(held_on=DAY, uid="0" * 32))
    with pytest.raises(StoreError, match=words):
        save_outings(store, [GOOD, bad, GOOD])
    assert len(list_sessions(store)) == 1
    for listed in (list_scans, list_shooters, list_rigs, list_heads, list_arrows, shots_frame):
        assert listed(store).empty


def test_a_shot_of_another_end_is_no_new_one(store):
    save_outings(store, [GOOD])
    known = load_scan(store, 1)
    with pytest.raises(StoreError, match="carries the id"):
        save_outings(store, [Outing(Session(held_on=DAY), [replace(known, id=None)])])
    assert len(list_sessions(store)) == 1


def test_a_deleted_session_gets_no_ends(store):
    [key] = save_outings(store, [GOOD])
    entry = get_session(store, key)
    delete_entry(store, "session", key)
    with pytest.raises(StoreError, match="restore it first"):
        save_outings(store, [Outing(entry, [end(3.0)])])


def test_identities_are_kept_as_given_and_made_where_not(store):
    given = "ab" * 16
    keys = save_outings(
        store,
        [
            Outing(Session(held_on=DAY)),
            Outing(Session(held_on=DAY, uid=given), [end(1.0, uid="cd" * 16), end(2.0)]),
        ],
    )
    sessions, scans = (list_identities(store, kind) for kind in ("session", "scan"))
    assert sessions[given] == keys[1]
    assert "cd" * 16 in scans
    assert len(sessions) == len(scans) == 2
    assert get_session(store, keys[1]).uid is None  # so that a copy is a new one
    delete_entry(store, "session", keys[1])
    assert list_identities(store, "session") == sessions  # deleted ones too
    with pytest.raises(StoreError, match="break a rule"):
        save_session(store, Session(held_on=DAY, uid=given))


def test_nothing_to_save_is_nothing(store):
    assert save_outings(store, []) == []
    assert list_sessions(store).empty


def test_a_thousand_ends_take_few_statements(store):
    said = []
    sa.event.listen(
        store.engine, "before_cursor_execute", lambda *told: said.append(told[2].split()[0])
    )
    save_shooter(store, Shooter(name="Ada"))
    said.clear()
    save_outings(store, [Outing(GOOD.session, [end(float(k))]) for k in range(1000)])
    # Rows by the hundreds in each, and nothing is asked for each row.
    assert len(said) < 60


def test_another_program_sees_all_or_nothing(store):
    with closing(open_store(store.home, database_url=_url(store))) as other:
        seen = []

        @sa.event.listens_for(store.engine, "before_cursor_execute")
        def _look(*_told: object) -> None:
            with other.reader.connect() as reader:
                query = sa.select(sa.func.count()).select_from(schema.session)
                seen.append(reader.scalar(query))

        save_outings(store, [GOOD] * 3)
        assert set(seen) == {0}
        assert len(list_sessions(other)) == 3


def _url(store) -> str:
    return store.engine.url.render_as_string(hide_password=False)
