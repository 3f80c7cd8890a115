"""Sessions in which several heads were shot by a written order."""

from datetime import date

import numpy as np

from groupscan.records.entries import Head, Rig, ScanRecord, Session, ShotRecord
from groupscan.records.store import Outing, list_heads, save_head, save_outings, save_rig

FIELD = "field point"


def keep_match(
    store, *, others, ends=6, each=3, bow="compound", hand="right", rig="Kite", plan=None, seed=2,
    kinds=None, alone=0, held_on=date(2026, 5, 2), owner=None,
):  # fmt: skip
    """Keep one session of heads shot in the same ends; return its id.

    ``others`` gives, by name, where each other head hits from the field points; the first ``alone``
    ends are of field points only.
    """
    if FIELD not in set(list_heads(store)["name"]):
        save_head(store, Head(name=FIELD, kind="field point"))
    for name in set(others) - set(list_heads(store)["name"]):
        save_head(store, Head(name=name, kind=(kinds or {}).get(name, "fixed-blade")))
    save_rig(store, Rig(name=rig, bow=bow, hand=hand, shooter_id=owner))
    rng = np.random.default_rng(seed)
    heads = {FIELD: (0.0, 0.0), **others}
    scans = []
    for end in range(ends):
        moved = rng.normal(0, 5, 2)
        shots = []
        for i, (head, offset) in enumerate(heads.items()):
            head = FIELD if end < alone else head
            for j, (x, y) in enumerate(rng.normal(0, 8, (each, 2)) + offset + moved):
                number = len(shots) + 1
                shots.append(
                    ShotRecord(
                        number=number, x_mm=float(x), y_mm=float(y), head=head,
                        arrow=str((i * each + j + end) % (len(heads) * each) + 1),
                        order=end * len(heads) * each + number,
                    )
                )  # fmt: skip
        scans.append(ScanRecord(session_id=0, scale_source="typed", shots=tuple(shots)))
    session = Session(held_on=held_on, shooter="Ola <b>", rig=rig, distance_m=18.288, plan=plan)
    return save_outings(store, [Outing(session, scans)])[0]
