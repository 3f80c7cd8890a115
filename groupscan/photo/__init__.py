"""Photo to plane to holes: bytes in, holes in millimetres out.

Read the modules in the order of the work: :mod:`~groupscan.photo.reading`,
:mod:`~groupscan.photo.plane`, :mod:`~groupscan.photo.marks`,
:mod:`~groupscan.photo.expected`, :mod:`~groupscan.photo.holes`,
:mod:`~groupscan.photo.scan`.
"""
