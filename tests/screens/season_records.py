"""Seasons made up for the tests of screens: known sigmas and centres, session by session."""

from datetime import date, timedelta

import numpy as np

from groupscan.records.store import Outing, ScanRecord, Session, ShotRecord, save_outings

ENDS = 3


def keep_season(
    store, sigmas, *, shooter="Ada", rig="Heron", right=None, head="field point", shots=12,
    distance_m=18.0, start=date(2026, 4, 4), every=7, end_ratio=1.0, seed=1,
):  # fmt: skip
    """Keep one session for each sigma (mm), each of three ends, so many days apart."""
    rng = np.random.default_rng(seed)
    right = np.zeros(len(sigmas)) if right is None else right
    outings = []
    for i, sigma in enumerate(sigmas):
        ends = []
        for end in range(ENDS):
            places = rng.normal(0, sigma * end_ratio ** (end - 1), (shots // ENDS, 2))
            places[:, 0] += right[i]
            ends.append(
                ScanRecord(
                    session_id=0,
                    label=f"end {end + 1}",
                    shots=tuple(
                        ShotRecord(
                            number=n, x_mm=float(x), y_mm=float(y), head=head,
                            order=end * (shots // ENDS) + n,
                        )
                        for n, (x, y) in enumerate(places, 1)
                    ),
                )
            )  # fmt: skip
        session = Session(
            held_on=start + timedelta(days=every * i), shooter=shooter, rig=rig,
            distance_m=distance_m,
        )  # fmt: skip
        outings.append(Outing(session, ends))
    return save_outings(store, outings)
