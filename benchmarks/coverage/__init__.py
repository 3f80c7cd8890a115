"""Simulated coverage of every interval and error rate of every decision.

``python -m benchmarks.coverage [SECTION ...] --groups N --seed S``; each module beside this one
that offers ``rows(groups, seed)`` is a section.
"""
