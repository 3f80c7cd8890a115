"""Start the app: Streamlit on 127.0.0.1, from an installed wheel as well as from a checkout."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from pathlib import Path

from groupscan.errors import GroupscanError

__all__ = ["serve"]


def serve(*, port: int, home: Path | None = None) -> int:
    """Run the app until it is stopped.

    Parameters
    ----------
    port : int
        Port on 127.0.0.1; the next free one is taken where it is in use.
    home : Path, optional
        Folder of the records; else the user's own.

    Returns
    -------
    int
        Exit status.
    """
    from groupscan.screens.settings import streamlit_flags

    script = _script()
    port = _free_port(port)
    environment = dict(os.environ)
    if home is not None:
        environment["GROUPSCAN_HOME"] = str(home)
        environment.pop("GROUPSCAN_DATABASE_URL", None)  # it would be opened in place of them
    command = [
        sys.executable,
        "-m",
        "streamlit",
        "run",
        str(script),
        *streamlit_flags(),
        f"--server.port={port}",
    ]
    print(f"groupscan is at http://127.0.0.1:{port} (stop it with Ctrl+C)", flush=True)  # noqa: T201
    if os.name == "posix":  # one process, so that stopping groupscan stops the app
        os.execve(command[0], command, environment)
    try:
        return subprocess.run(command, env=environment, check=False).returncode
    except KeyboardInterrupt:
        return 0


def _script() -> Path:
    """Path of app.py: inside the wheel's package, or beside the package in a checkout."""
    package = Path(__file__).parent
    for place in (package / "app.py", package.parent / "app.py"):
        if place.is_file():
            return place
    msg = f"app.py is missing from {package}: install groupscan again"
    raise GroupscanError(msg)


def _free_port(wanted: int) -> int:
    for port in range(wanted, min(wanted + 20, 65536)):
        with socket.socket() as probe:
            if os.name == "posix":  # elsewhere it would let two programs share the port
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                probe.bind(("127.0.0.1", port))
            except OSError:
                continue
            return port
    msg = f"no free port from {wanted} on: choose another with --port"
    raise GroupscanError(msg)
