"""Programs that import and restore archives and die in the middle, for the tests and a benchmark.

Run as ``python archive_worker.py``. For each line ``WORK HOME FILE WHEN`` on stdin it starts one
such program and says how it ended; before that, how many steps it took if it came to its end. To
``undo`` an import or to bring it ``back``, the import's identity stands in place of a file.
``WHEN`` is the number of the step at which the program kills itself, or 0 (steps are statements of
the database, files opened and files renamed), or a number of seconds such as ``0.05s`` after which
it is killed from outside.
"""

import os
import signal
import sys
import time
from contextlib import closing
from pathlib import Path

import sqlalchemy as sa

from groupscan.records.exchange.archive import import_archive
from groupscan.records.exchange.undoing import bring_back_import, undo_import
from groupscan.records.store import open_store
from groupscan.records.upkeep.backup import restore

STEPS = ("open", "os.rename", "os.remove", "os.mkdir", "tempfile.mkstemp")


taken = [0]


def die_at(step: int) -> None:
    """Let this program die without notice when it has taken so many steps from now on."""

    def count(*_arguments: object) -> None:
        taken[0] += 1
        if taken[0] == step:
            os.kill(os.getpid(), signal.SIGKILL)

    def watch(event: str, _arguments: object) -> None:
        if event in STEPS:
            count()

    sys.addaudithook(watch)
    for event in ("before_cursor_execute", "after_cursor_execute", "commit"):
        sa.event.listen(sa.Engine, event, count)


def work(what: str, home: str, file: str, step: int) -> None:
    with closing(open_store(Path(home))) as store:
        die_at(step)
        if what == "import":
            import_archive(store, Path(file))
        elif what == "undo":
            undo_import(store, file)
        elif what == "back":
            bring_back_import(store, file)
        else:
            restore(store, Path(file), overwrite=True)


def main() -> None:
    print("ready", flush=True)  # noqa: T201
    for line in sys.stdin:
        what, home, file, when = line.split()
        child = os.fork()
        if child == 0:
            work(what, home, file, 0 if when.endswith("s") else int(when))
            print(taken[0], flush=True)  # noqa: T201
            os._exit(0)
        if when.endswith("s"):
            time.sleep(float(when[:-1]))
            os.kill(child, signal.SIGKILL)
        _, status = os.waitpid(child, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)  # noqa: T201


if __name__ == "__main__":
    main()
