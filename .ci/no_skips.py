"""Fail if a test was skipped: ``python .ci/no_skips.py JUNIT_XML``.

A skip hides a hole; on a machine where everything can be installed there is no reason for one.
Expected failures are strict, so they are no hole.
"""

import sys
import xml.etree.ElementTree as ET
from pathlib import Path


def skipped(report: Path) -> list[str]:
    """Return a line for each skipped test: its name and why."""
    lines = []
    for case in ET.parse(report).getroot().iter("testcase"):
        for skip in case.findall("skipped"):
            if skip.get("type") != "pytest.xfail":
                name = f"{case.get('classname')}::{case.get('name')}"
                lines.append(f"{name}: {skip.get('message')}")
    return lines


if __name__ == "__main__":
    found = skipped(Path(sys.argv[1]))
    if found:
        print("skipped tests:", *found, sep="\n  ")
        sys.exit(1)
