"""Commands over what is kept: gear, sessions, shots and the log. They ask, save and show."""

from collections.abc import Callable

import typer

from groupscan.gear_commands.arrows import COMMANDS as ARROWS
from groupscan.gear_commands.asking import application
from groupscan.gear_commands.entries import COMMANDS as ENTRIES
from groupscan.gear_commands.gear import COMMANDS as GEAR
from groupscan.gear_commands.log import log
from groupscan.gear_commands.measured import COMMANDS as MEASURED
from groupscan.gear_commands.sessions import COMMANDS as SESSIONS
from groupscan.gear_commands.shots import COMMANDS as SHOTS

__all__ = ["APPLICATIONS", "COMMANDS"]

#: What the command line takes in: applications with commands of their own, and one command.
APPLICATIONS: tuple[typer.Typer, ...] = (
    application(
        "gear",
        "List and change shooters, rigs with setups, readings and pins, builds, arrows and heads.",
        (*ENTRIES[:2], *GEAR, *ARROWS, *MEASURED, *ENTRIES[2:]),
    ),
    application("sessions", "List and change sessions.", SESSIONS),
    application("shots", "List an end's shots, and say what a photo cannot.", SHOTS),
)
COMMANDS: tuple[Callable[..., None], ...] = (log,)
