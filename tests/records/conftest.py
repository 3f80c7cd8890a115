"""An empty store in a folder of its own, and entries to fill it with."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from groupscan.records.store import (
    ScanRecord,
    Session,
    ShotRecord,
    Store,
    add_photo,
    open_store,
    save_session,
)


@pytest.fixture(autouse=True)
def _own_place(monkeypatch, tmp_path):
    monkeypatch.setenv("GROUPSCAN_HOME", str(tmp_path / "home"))
    monkeypatch.delenv("GROUPSCAN_DATABASE_URL", raising=False)


@pytest.fixture(scope="session")
def empty_home(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a folder of empty records, made once because making the tables takes a while."""
    home = tmp_path_factory.mktemp("empty") / "home"
    open_store(home).close()
    return home


@pytest.fixture
def store(tmp_path: Path, empty_home: Path) -> Iterator[Store]:
    shutil.copytree(empty_home, tmp_path / "home")
    with closing(open_store(tmp_path / "home")) as opened:
        yield opened


def shot(number: int, **changes: Any) -> ShotRecord:
    found = ShotRecord(
        number=number,
        x_mm=10.1 * number,
        y_mm=-3.3 * number,
        auto_x_mm=10.1 * number,
        auto_y_mm=-3.3 * number,
        auto_se_mm=0.21,
        auto_shared_se_mm=0.08,
        x_px=1000.25 + number,
        y_px=800.75 - number,
        se_mm=0.21,
        diameter_mm=5.9,
        confidence=0.97,
    )
    return replace(found, **changes)


def scan_of(session_id: int, photo_sha256: str, *, shots: int = 3, **changes: Any) -> ScanRecord:
    record = ScanRecord(
        session_id=session_id,
        photo_sha256=photo_sha256,
        photo_name="end 1.jpg",
        image_size_px=(4032, 3024),
        sheet="ring-40",
        scale_source="rings",
        mm_per_px=0.1 + 0.2,
        mm_per_px_se=1e-4 / 3,
        tilt_deg=7.3,
        residual_px=0.4,
        mm_to_px=((3.3, 0.1, 2016.0), (-0.1, -3.3, 1512.0), (1e-5 / 3, 2e-5, 1.0)),
        lens={"k1": -0.02 / 3},
        bend={"heights_mm": [[0.1 + 0.2, -1.5]], "cell_mm": 100 / 3, "low_mm": [-50.0, 50.0]},
        aim_mm=(0.1, -0.2),
        aims_mm=((0.1, -0.2), (100.0, 1 / 3)),
        warnings=("two holes overlap",),
        shaft_mm=5.9,
        shots=tuple(shot(number) for number in range(1, shots + 1)),
    )
    return replace(record, **changes)


@pytest.fixture
def make_shot() -> Callable[..., ShotRecord]:
    return shot


@pytest.fixture
def make_scan(store: Store) -> Callable[..., ScanRecord]:
    """Return a maker of unsaved scans whose session and photo are in the store."""
    session_id = save_session(
        store,
        Session(
            held_on=date(2026, 5, 3),
            place="North butts",
            shooter="Ada Fenwick",
            rig="Heron 62",
            distance_m=18.288,
        ),
    )
    photo = add_photo(store, b"a photo", name="end 1.jpg")

    def make(**changes: Any) -> ScanRecord:
        return replace(scan_of(session_id, photo, shots=changes.pop("count", 3)), **changes)

    return make


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """Return a folder that every user may look into (pytest's own are closed to others)."""
    with tempfile.TemporaryDirectory(prefix="records-") as name:
        folder = Path(name)
        folder.chmod(0o755)
        yield folder
        for path in [folder, *folder.rglob("*")]:
            if path.is_dir():
                path.chmod(0o755)


@pytest.fixture
def ordinary_user() -> Callable[[], Any]:
    """Return a context in which rights to files count, which they do not for root."""

    @contextmanager
    def act() -> Iterator[None]:
        if os.geteuid() != 0:
            yield
            return
        os.seteuid(65534)
        try:
            yield
        finally:
            os.seteuid(0)

    return act
