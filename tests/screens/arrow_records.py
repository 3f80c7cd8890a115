"""Invented outings with numbered arrows, typed in."""

from datetime import date, timedelta

import numpy as np

from groupscan.records.entries import ScanRecord, Session, ShotRecord
from groupscan.records.store import Outing, save_outings

FIRST = date(2026, 4, 4)


def shoot(store, offsets, *, sessions=2, ends=4, sigma=8.0, distance_m=18.288, seed=1, **session):
    """Save outings in which every arrow is shot once an end: its number, and where it lands."""
    rng = np.random.default_rng(seed)
    start = session.pop("start", FIRST)
    head = session.pop("head", "field point")
    outings = []
    for day in range(sessions):
        held = Session(
            held_on=start + timedelta(days=7 * day),
            distance_m=distance_m,
            **{"shooter": "Ada Moss", "rig": "Wren", **session},
        )
        scans = []
        for _ in range(ends):
            shots = []
            for number, (arrow, (x, y)) in enumerate(offsets.items(), 1):
                dx, dy = rng.normal(0, sigma, 2)
                shots.append(
                    ShotRecord(number=number, x_mm=x + dx, y_mm=y + dy, head=head, arrow=arrow)
                )
            scans.append(ScanRecord(session_id=0, scale_source="typed", shots=tuple(shots)))
        outings.append(Outing(held, scans))
    return save_outings(store, outings)


SIX = {"1": (0, 0), "2": (2, 0), "3": (0, -2), "4": (60, 25), "5": (-1, 1), "6": (1, 2)}
