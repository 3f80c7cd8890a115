"""A small table of shots, and how much records hold."""

from groupscan.records.store import (
    list_arrows,
    list_builds,
    list_heads,
    list_rigs,
    list_scans,
    list_sessions,
    list_shooters,
    shots_frame,
)

HEADS = "date,end,shooter,rig,distance,head,arrow,x,y"
ROWS = [
    "2026-05-03,1,Ada Fenwick,Heron,20 yd,field point,1,-12.5,30",
    "2026-05-03,1,Ada Fenwick,Heron,20 yd,field point,2,4,-7.25",
    "2026-05-03,2,Ada Fenwick,Heron,20 yd,fixed-blade,1,0,1",
    "2026-05-03,2,Ada Fenwick,Heron,20 yd,fixed-blade,2,3,9",
    "2026-05-10,1,Ada Fenwick,Heron,20 yd,field point,1,2,2",
]


def written(tmp_path, *lines, name="shots.csv"):
    path = tmp_path / name
    path.write_bytes("\r\n".join(lines).encode())
    return path


def counted(store):
    """How much there is of everything, deleted or not."""
    lists = (list_shooters, list_rigs, list_builds, list_arrows, list_heads, list_sessions)
    found = {one.__name__: len(one(store)) for one in lists}
    return found | {"scans": len(list_scans(store)), "shots": len(shots_frame(store))}
