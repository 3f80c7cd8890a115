"""How many arrows a comparison needs, in which order to shoot them, and how to read them."""

from groupscan.stats.plan.analysis import (
    Analysis,
    PlannedOffset,
    analyse_order,
    fit_order,
    order_power,
)
from groupscan.stats.plan.design import (
    CAUTION,
    ArrowsNeeded,
    PlannedShot,
    ShootingOrder,
    alternate_builds,
    plan_arrows,
    rotate_heads,
)

__all__ = [
    "CAUTION",
    "Analysis",
    "ArrowsNeeded",
    "PlannedOffset",
    "PlannedShot",
    "ShootingOrder",
    "alternate_builds",
    "analyse_order",
    "fit_order",
    "order_power",
    "plan_arrows",
    "rotate_heads",
]
