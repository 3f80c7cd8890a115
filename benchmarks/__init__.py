"""Measurements of groupscan itself: how right it is, how fast, how much memory it takes.

Plain scripts, run by hand (``python -m benchmarks.accuracy FOLDER``), never collected as tests.
"""

__all__: list[str] = []
