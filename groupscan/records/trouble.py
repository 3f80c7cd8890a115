"""What to tell the user when a database fails: what happened, what is safe, what to do."""

import re
from collections.abc import Iterable

import sqlalchemy as sa

from groupscan.errors import StoreError
from groupscan.records.address import describe

__all__ = ["BUSY_TIMEOUT_S", "POSTGRESQL_CODES", "SQLITE_CODES", "explain"]

BUSY_TIMEOUT_S = 30.0
"""How long a transaction waits for another one before it gives up, seconds."""

_FULL = (
    "the disk is full. Nothing of this step was stored and everything stored before is intact: "
    "free some space{where} and do it again"
)
_LOCKED = (
    f"another program has kept it locked for more than {BUSY_TIMEOUT_S:.0f} s. Nothing of this "
    "step was stored: close the other program and do it again"
)
_DAMAGED = (
    "{what}. Nothing was changed: put a backup copy in its place, or move the file aside to start "
    "with empty records"
)
_RULE = (
    "the values break a rule of the records. Nothing of this step was stored: load the entry "
    "again, correct it and save it"
)

# By the beginning of an extended result code, https://www.sqlite.org/rescode.html.
SQLITE_CODES = {
    "SQLITE_FULL": _FULL.format(where=""),
    "SQLITE_READONLY": (
        "it may not be written to. Give your user the right to write to the file and its folder, "
        "or set GROUPSCAN_HOME to a folder of your own"
    ),
    "SQLITE_CANTOPEN": (
        "the file cannot be opened or created. Check that its folder exists and that your user "
        "may write there, or set GROUPSCAN_HOME to a folder of your own"
    ),
    "SQLITE_CORRUPT": _DAMAGED.format(what="the database is damaged"),
    "SQLITE_NOTADB": _DAMAGED.format(
        what="the file is not a database, or its beginning is damaged"
    ),
    "SQLITE_BUSY": _LOCKED,
    "SQLITE_IOERR": (
        "the disk failed to read or write. Nothing of this step was stored: check the disk and "
        "its free space, then do it again"
    ),
    "SQLITE_CONSTRAINT": _RULE,
}

# By the beginning of an SQLSTATE, https://www.postgresql.org/docs/current/errcodes-appendix.html;
# the longest that fits counts.
POSTGRESQL_CODES = {
    "53100": _FULL.format(where=" on the server"),
    "53300": "the server takes no more connections. Close other programs and do it again",
    "53": (
        "the server has run out of what it needs. Nothing of this step was stored: tell who runs "
        "the server, then do it again"
    ),
    "25006": (
        "the database may only be read just now (a standby, or set so by who runs it). Nothing of "
        "this step was stored: ask who runs the server, or connect to the one that takes writes"
    ),
    "55P03": _LOCKED,
    "25P03": (
        "the step stood still for too long and the server gave it up. Nothing of it was stored: "
        "do it again"
    ),
    "40": (
        "another program changed the same entries at the same moment. Nothing of this step was "
        "stored: do it again"
    ),
    "42501": (
        "your user may not do this in the database. Nothing of this step was stored: ask who runs "
        "the server for the right to create and change tables there"
    ),
    "57014": "the step was stopped. Nothing of it was stored: do it again",
    "57": (
        "the server is stopping, starting or has closed the connection. Nothing of this step was "
        "stored: do it again in a moment"
    ),
    "08": (
        "the connection was lost. A step that was being stored happened whole or not at all: look "
        "whether it is there, then do it again"
    ),
    "XX001": (
        "the server found damaged data. Nothing was changed: ask who runs the server to check its "
        "disk and to bring back a backup"
    ),
    "22P05": (
        "the database cannot hold every letter. Ask who runs the server for a database with the "
        "encoding UTF8"
    ),
    "22": _RULE,
    "23": _RULE,
}

# Before there is a connection there is no SQLSTATE, only what libpq and the server say.
_UNCONNECTED = (
    (
        "password authentication failed|no password supplied|authentication failed",
        "the server refuses this user and password. Correct them in GROUPSCAN_DATABASE_URL, or "
        "put the password into the file that PGPASSFILE names",
    ),
    (
        'role ".*" does not exist',
        "the server knows no such user. Correct the name in GROUPSCAN_DATABASE_URL, or ask who "
        "runs the server to create it",
    ),
    (
        'database ".*" does not exist',
        "the server has no such database. Correct the name in GROUPSCAN_DATABASE_URL, or create "
        "it there (createdb NAME)",
    ),
    (
        "no pg_hba.conf entry|pg_hba.conf rejects",
        "the server lets this user in from nowhere near here. Ask who runs the server to allow it "
        "in pg_hba.conf",
    ),
    ("too many clients|too many connections|remaining connection slots", POSTGRESQL_CODES["53300"]),
    ("starting up|shutting down|recovery mode", POSTGRESQL_CODES["57"]),
    (
        "could not translate host name|name or service not known|failed to resolve host",
        "there is no server of that name. Correct it in GROUPSCAN_DATABASE_URL, or check the "
        "network",
    ),
    (
        "connection refused|no such file or directory|timeout expired|timed out|no route to host|"
        "network is unreachable",
        "no server answers there. Check that it runs, the host and port in "
        "GROUPSCAN_DATABASE_URL, and the network",
    ),
    (
        "server closed the connection|connection is closed|connection is lost|consuming input|"
        "terminating connection",
        POSTGRESQL_CODES["08"],
    ),
)


def explain(err: BaseException, url: sa.URL) -> StoreError:
    """Turn an error of the database into one that says what to do next.

    Parameters
    ----------
    err : BaseException
        What SQLAlchemy or the database driver raised.
    url : sqlalchemy.URL
        The database; told without its password.
    """
    driver_error = getattr(err, "orig", None) or err
    cause = _cause(driver_error, url)
    code = str(getattr(driver_error, "sqlite_errorname", None) or "")
    state = str(getattr(driver_error, "sqlstate", None) or "")
    advice = (
        _first(SQLITE_CODES, code)
        or _first(POSTGRESQL_CODES, state)
        or (_unconnected(cause) if url.get_backend_name() == "postgresql" and not state else None)
    )
    if advice is not None:
        return StoreError(f"records in {describe(url)}: {advice} ({cause})")
    return StoreError(
        f"records in {describe(url)}: {cause}. Nothing of this step was stored; check that the "
        "database can be reached and do it again"
    )


def _first(table: dict[str, str], code: str) -> str | None:
    fits: Iterable[str] = (start for start in table if code.startswith(start))
    return table[best] if (best := max(fits, key=len, default=None)) is not None else None


def _unconnected(cause: str) -> str | None:
    return next(
        (advice for words, advice in _UNCONNECTED if re.search(words, cause, re.IGNORECASE)), None
    )


def _cause(err: BaseException, url: sa.URL) -> str:
    # The lines after the first repeat the statement, or the same trouble at every address.
    lines = [line for line in str(err).splitlines() if line.strip()]
    said = " ".join((lines[0] if getattr(err, "sqlstate", None) else " ".join(lines)).split())
    secrets = (url.password, url.query.get("password"), url.query.get("sslpassword"))
    for secret in secrets:
        if secret:
            said = said.replace(str(secret), "***")
    return said
