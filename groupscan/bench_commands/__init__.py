"""Commands of the rig bench: builds, launch, flight, pins, the fit, two rigs, pages to print."""

import typer

from groupscan.bench_commands.flying import COMMANDS as FLYING
from groupscan.bench_commands.shafts import COMMANDS as SHAFTS
from groupscan.bench_commands.shots import COMMANDS as SHOTS
from groupscan.bench_commands.sights import COMMANDS as SIGHTS

__all__ = ["APPLICATION"]

#: What the command line takes in.
APPLICATION = typer.Typer(
    name="bench",
    help="Builds, launch, flight, pins, fits and comparisons of rigs; the makers' limits first.",
    rich_markup_mode=None,
    no_args_is_help=True,
)
for _name, _command in (*SHAFTS, *FLYING, *SIGHTS, *SHOTS):
    APPLICATION.command(_name)(_command)
