"""Photos of archery practice targets in; trustworthy group numbers out.

The main line, in the order of the work: :mod:`groupscan.photo` turns a photo into holes in
millimetres, :mod:`groupscan.stats` turns holes into a group with its uncertainty, and
:mod:`groupscan.records` keeps both. :mod:`groupscan.pipeline` joins them.
"""

__all__ = ["__version__"]
__version__ = "0.1.0"
