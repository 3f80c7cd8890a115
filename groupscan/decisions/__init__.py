"""Decisions from tables of shots: what goes into which question, and what must not be mixed.

The tables are those of `groupscan.decisions.shot_table`; the answers are the result objects of
`groupscan.stats`, with notes on what was left out or pooled on the way.
"""
