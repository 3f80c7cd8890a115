"""Print the table of ``python -m benchmarks.coverage``; exit 1 if a share leaves its band."""

import argparse
import importlib
import pkgutil
import sys
import time

import benchmarks.coverage
from benchmarks.coverage.rows import table


def sections() -> list[str]:
    """Return the names of the modules that simulate something."""
    found = pkgutil.iter_modules(benchmarks.coverage.__path__)
    return sorted({module.name for module in found} - {"__main__", "rows"})


def main() -> None:
    """Simulate the sections asked for and print a table of each."""
    parser = argparse.ArgumentParser(description="Simulated coverage and error rates.")
    parser.add_argument("section", nargs="*", choices=[[], *sections()], help="default: all")
    parser.add_argument("--groups", type=int, default=100_000, help="groups a size (100000)")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args()
    wrong = 0
    for name in options.section or sections():
        begin = time.perf_counter()
        rows = importlib.import_module(f"benchmarks.coverage.{name}").rows(
            options.groups, options.seed
        )
        print(f"{name} ({time.perf_counter() - begin:.0f} s)\n{table(rows, options.groups)}\n")
        wrong += sum(bool(row.outside(options.groups)) for row in rows)
    sys.exit(f"{wrong} rows leave their band" if wrong else 0)


if __name__ == "__main__":
    main()
