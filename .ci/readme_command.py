"""Print one of the README's two commands: ``python .ci/readme_command.py main|tests``.

The command is the first ``sh`` block after the line ``<!-- command: NAME -->``.
"""

import re
import sys
from pathlib import Path


def readme_command(name: str) -> str:
    """Return the command that the README marks with this name."""
    readme = (Path(__file__).parents[1] / "README.md").read_text(encoding="utf-8")
    found = re.search(rf"<!-- command: {re.escape(name)} -->\s*```sh\n(.*?)```", readme, re.DOTALL)
    if found is None:
        raise SystemExit(f"README.md marks no command named {name!r}")
    return found.group(1)


if __name__ == "__main__":
    sys.stdout.write(readme_command(sys.argv[1]))
