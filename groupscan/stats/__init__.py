"""Statistics of shots on a plane: arrays in, tables out; numpy and scipy only.

One group (:mod:`~groupscan.stats.group`), then what rests on groups: where one hits against
another (:mod:`~groupscan.stats.offset`), which is tighter (:mod:`~groupscan.stats.tightness`), what
to move (:mod:`~groupscan.stats.moves`), arrow by arrow (:mod:`~groupscan.stats.arrows`), a season
(:mod:`~groupscan.stats.trend`), how far out (:mod:`~groupscan.stats.reach`), and how many arrows a
comparison needs (:mod:`~groupscan.stats.plan`).
"""
