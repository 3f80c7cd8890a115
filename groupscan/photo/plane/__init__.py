"""Photo to plane: from marks seen in a photo to millimetres on the sheet.

A pinhole camera sees a flat sheet through a homography; one radial term takes up the lens. Marks
of every kind end in one robust least-squares fit: points of known place, and points that lie
somewhere on a circle of known radius or on a known straight line. All give residuals in pixels, so
that any mix of them can be weighed together, and the curvature of the sum of squares gives the
standard errors.

Coordinates are those of the project: sheet millimetres, x right, y up, origin at the sheet's
centre; pixels of the upright photo, x right, y down, pixel centres at integers.
"""

from groupscan.photo.plane.bend import Bend
from groupscan.photo.plane.bend_fit import fit_sheet
from groupscan.photo.plane.fit import fit_plane
from groupscan.photo.plane.marks_seen import Floats, Marks
from groupscan.photo.plane.sheet_plane import Plane

__all__ = ["Bend", "Floats", "Marks", "Plane", "fit_plane", "fit_sheet"]
