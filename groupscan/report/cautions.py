"""The cautions, in one wording for the screen and for paper."""

from typing import Final

__all__ = ["CAUTIONS"]

#: Said where they belong, in these words.
CAUTIONS: Final[dict[str, str]] = {
    "range": (
        "Walk up only when the range is clear, and stand aside of the nocks when you pull. Fixed "
        "blades cut: use a wrench, never fingers. Flex and look over carbon shafts after every "
        "hard hit, and never shoot a cracked one."
    ),
    "group": (
        "A group on a practice ground is no licence for a shot at game. Local law sets distances, "
        "draw weights and heads; the makers of bow and arrows set their limits. In doubt, ask a "
        "qualified technician or coach."
    ),
}
