"""Make the stored old records that the tests of upgrading open: ``revision_NNNN.db``.

Each was written by the program of its time, through its own functions, and is never made anew:
what it holds is what users of that time have. To store one more before the tables change again,
run this with the code that is about to become old (a checkout of it in the working folder)::

    python tests/records/data/make_old_records.py tests/records/data/revision_NNNN.db

``revision_0001.db`` was written by the commit before the one that brought revision 0002,
``revision_0002.db`` by the one before revision 0003, ``revision_0003.db`` by the one before
revision 0004. Later programs may need a later script; what it should hold: entries that are
deleted, shots corrected and taken out, values left out, names that come back, names of two people,
letters of several scripts, and every table.
"""

import sqlite3
import sys
from contextlib import closing
from dataclasses import fields, replace
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

from groupscan.records import store as records


def fill(store: records.Store) -> None:
    held = [
        ("2023-02-28", "North butts", "Ada Fenwick", "Heron 62", 18.288),
        ("2023-03-05", "Scheune 🏹", "Ada Fenwick", "Heron 62", 18.0),
        ("2023-03-05", "Wood", "射手 Børge", "Heron 62", None),
        ("2024-02-29", "", "", "", 0.1),
        ("2024-03-01", "Wood", "", "Heron 62", 30.0),
    ]
    for place, (day, *rest) in enumerate(held):
        names = dict(zip(("place", "shooter", "rig", "distance_m"), rest, strict=True))
        session = records.save_session(
            store, records.Session(held_on=date.fromisoformat(day), notes=f"n{place}", **names)
        )
        for end in range(3):
            photo = records.add_photo(store, f"photo {place} {end}".encode(), name=f"e{end}.jpg")
            scan_id = records.save_scan(store, end_of(session, photo, end))
            if end == 1:
                correct(store, scan_id)
    records.delete_entry(store, "session", 2)
    records.delete_entry(store, "scan", 9)
    keep_gear(store)


def keep_gear(store: records.Store) -> None:
    coach = int(records.list_shooters(store)["id"].iloc[0])
    student = records.Shooter(name="Wenna Ærø", hand="left", coach_id=coach, goals="half\nof it")
    records.save_shooter(store, student)
    rig = records.save_rig(store, records.Rig(name="Slate", shooter_id=coach, bow="compound"))
    tin, brass = (
        records.save_build(store, records.Build(name=name, length_mm=724.0, mass_g=mass))
        for name, mass in (("tin", 24.1 / 3), ("brass", None))
    )
    for day, changed, build in (("2024-01-05", "", tin), ("2024-05-01", "rest 1 mm left", brass)):
        records.add_setup(
            store,
            records.Setup(
                rig_id=rig, since=date.fromisoformat(day), changed=changed, build_id=build,
                draw_weight_n=266.9, sight_radius_mm=863.6, peep_height_mm=101.6,
            ),
        )  # fmt: skip
    records.delete_entry(
        store, "setup", records.add_setup(store, records.Setup(rig_id=rig, since=date(2024, 6, 1)))
    )
    first, second = records.save_arrows(
        store, [records.Arrow(number=number, build_id=tin) for number in ("1", "=2")]
    )
    records.rebuild_arrow(store, first, brass, on=date(2024, 5, 2), why="brass inserts")
    worn = records.get_arrow(store, second)
    records.save_arrow(store, replace(worn, state="broken", state_since=date(2024, 5, 3)))
    head = records.save_head(store, records.Head(name="two-blade", kind="fixed-blade", cut_mm=27.0))
    records.save_head(store, replace(records.get_head(store, head), mass_g=6.5))
    records.save_session(
        store,
        records.Session(
            held_on=date(2024, 5, 4), shooter="Ada Fenwick", rig="Slate", distance_m=18.288,
            temperature_c=-3.5, plan={"ends": 6}, weather="Nebel",
        ),
    )  # fmt: skip


def end_of(session: int, photo: str, end: int) -> records.ScanRecord:
    bend = {"heights_mm": [[0.5, -1.5]], "cell_mm": 100 / 3, "low_mm": [-50.0, 50.0]}
    known = {field.name for field in fields(records.ScanRecord)}
    later = {"bend": bend} if "bend" in known and end == 0 else {}
    bare = end == 2
    return records.ScanRecord(
        session_id=session,
        photo_sha256=photo,
        photo_name=f"e{end}.jpg",
        image_size_px=(4032, 3024),
        sheet=None if bare else "ring-40",
        scale_source="corners" if bare else "rings",
        mm_per_px=None if bare else 0.1 + 0.2,
        mm_per_px_se=None if bare else 1e-4 / 3,
        tilt_deg=None if bare else 7.3,
        residual_px=None if bare else 0.4,
        mm_to_px=((3.3, 0.1, 2016.0), (-0.1, -3.3, 1512.0), (1e-5 / 3, 2e-5, 1.0)),
        lens=None if bare else {"k1": -0.02 / 3},
        aim_mm=(0.1, -0.2),
        aims_mm=((0.1, -0.2), (100.0, 1 / 3)),
        warnings=("two holes overlap", "é") if end == 1 else (),
        shaft_mm=None if bare else 5.9,
        shots=tuple(shot(number, end) for number in range(1, 5)),
        **later,
    )


def shot(number: int, end: int) -> records.ShotRecord:
    typed = end == 2
    known = {field.name for field in fields(records.ShotRecord)}
    later = {"auto_shared_se_mm": None if typed else 0.08} if "auto_shared_se_mm" in known else {}
    return records.ShotRecord(
        number=number,
        x_mm=10.1 * number,
        y_mm=-3.3 * number,
        auto_x_mm=None if typed else 10.1 * number,
        auto_y_mm=None if typed else -3.3 * number,
        auto_se_mm=None if typed else 0.21,
        x_px=None if typed else 1000.25 + number,
        y_px=None if typed else 800.75 - number,
        se_mm=None if typed else 0.21,
        diameter_mm=None if typed else 5.9,
        confidence=None if typed else 0.97,
        head=("field point", "Field point", "Σ 3", "")[number - 1],
        arrow=("1", "2", "=2+2", "")[number - 1],
        **later,
    )


def correct(store: records.Store, scan_id: int) -> None:
    record = records.load_scan(store, scan_id)
    first, second, *rest = record.shots
    moved = replace(first, x_mm=first.x_mm + 1 / 3, se_mm=1.0)
    records.save_scan(store, replace(record, shots=(moved, replace(second, removed=True), *rest)))


def main(target: Path) -> None:
    with TemporaryDirectory() as folder, closing(records.open_store(Path(folder))) as store:
        fill(store)
        store.close()
        with closing(sqlite3.connect(Path(folder, "groupscan.db"), isolation_level=None)) as plain:
            plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            plain.execute("VACUUM")
            plain.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        target.write_bytes(Path(folder, "groupscan.db").read_bytes())


if __name__ == "__main__":
    main(Path(sys.argv[1]))
