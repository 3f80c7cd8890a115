"""A second program at work on the records, for tests that need one to race with or to kill.

Run as ``python record_writer.py WHAT HOME ...``, with the address of the database in the
environment where it is not the file in the folder. It says "ready" on stdout and starts when a line
comes on stdin, so that several can start together.
"""

import os
import signal
import sys
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from groupscan.errors import StoreError
from groupscan.records.store import (
    add_photo,
    get_session,
    load_scan,
    open_store,
    save_scan,
    save_session,
)


def opened(home: str):
    return open_store(Path(home), database_url=os.environ.get("GROUPSCAN_DATABASE_URL"))


def wait_for_start() -> None:
    print("ready", flush=True)  # noqa: T201
    sys.stdin.readline()


def open_together(home: str) -> None:
    wait_for_start()
    with closing(opened(home)) as store:
        add_photo(store, b"same", name="same.jpg")


def mark_all(record, mark: str):
    """Return `record` with the same mark in the scan and in each shot."""
    shots = tuple(replace(shot, head=mark) for shot in record.shots)
    return replace(record, warnings=(mark,), shots=shots)


def rewrite(home: str, scan_id: str) -> None:
    """Save a scan and a new copy of it again and again; say the process id after the first."""
    with closing(opened(home)) as store:
        for turn in range(100_000):
            record = mark_all(load_scan(store, int(scan_id)), f"{os.getpid()}-{turn}")
            save_scan(store, record)
            shots = tuple(replace(shot, id=None) for shot in record.shots)
            save_scan(store, replace(record, id=None, shots=shots))
            if turn == 0:
                print(os.getpid(), flush=True)  # noqa: T201


def rewrite_in_children(home: str, scan_id: str) -> None:
    """Start one such program for each line that comes in."""
    wait_for_start()
    while True:
        child = os.fork()
        if child == 0:
            rewrite(home, scan_id)
        os.waitpid(child, 0)
        wait_for_start()


def die(home: str, scan_id: str, statements: int) -> None:
    """Save one scan again, and die without notice after so many statements of the saving."""
    import sqlalchemy as sa

    with closing(opened(home)) as store:
        record = load_scan(store, int(scan_id))
        left = statements

        @sa.event.listens_for(store.engine, "after_cursor_execute")
        def _count(*_arguments: object) -> None:
            nonlocal left
            left -= 1
            if left == 0:
                os.kill(os.getpid(), signal.SIGKILL)

        new = tuple(replace(shot, id=None, auto_x_mm=0.0, auto_y_mm=0.0) for shot in record.shots)
        numbered = tuple(replace(shot, number=100 + shot.number) for shot in new)
        marked = mark_all(record, "dead")
        save_scan(store, replace(marked, shots=marked.shots + numbered))


def die_ever_later(home: str, scan_id: str) -> None:
    """Die after 1 statement, after 2 and so on, and say how each program ended."""
    for statements in range(1, 100):
        wait_for_start()
        child = os.fork()
        if child == 0:
            die(home, scan_id, statements)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        print(os.waitstatus_to_exitcode(status), flush=True)  # noqa: T201


def take_turns(home: str, session_id: str, scan_id: str, turns: str) -> None:
    """Add marks to the notes of a session and the warnings of a scan, again where outrun."""
    with closing(opened(home)) as store:
        wait_for_start()
        for turn in range(int(turns)):
            mark = f"{os.getpid()}-{turn}"
            while True:
                kept = get_session(store, int(session_id))
                try:
                    save_session(store, replace(kept, notes=f"{kept.notes} {mark}"))
                    break
                except StoreError as err:
                    if "has been changed" not in str(err):
                        raise
            while True:
                record = load_scan(store, int(scan_id))
                try:
                    save_scan(store, replace(record, warnings=(*record.warnings, mark)))
                    break
                except StoreError as err:
                    if "has been changed" not in str(err):
                        raise
            save_scan(store, replace(record, id=None, photo_name=mark, shots=()))


if __name__ == "__main__":
    work = {
        "open": open_together,
        "rewrite": rewrite_in_children,
        "die": die_ever_later,
        "turns": take_turns,
    }
    work[sys.argv[1]](*sys.argv[2:])
