"""Everything in one zip file, and back: tables as CSV, photos as they came, and a manifest."""

from groupscan.records.exchange.archive.importing import import_archive
from groupscan.records.exchange.archive.manifest import Manifest, Member
from groupscan.records.exchange.archive.reading import read_manifest
from groupscan.records.exchange.archive.report import Conflict, Counts, ImportReport, Namesake
from groupscan.records.exchange.archive.writing import export_archive

__all__ = [
    "Conflict",
    "Counts",
    "ImportReport",
    "Manifest",
    "Member",
    "Namesake",
    "export_archive",
    "import_archive",
    "read_manifest",
]
