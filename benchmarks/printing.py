"""The accuracy report as a person reads it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

__all__ = ["print_report"]

COLUMNS = (
    ("true", "true", "{:d}"),
    ("found", "found", "{:d}"),
    ("missed", "missed", "{:d}"),
    ("false", "false", "{:d}"),
    ("recall", "recall", "{:.3f}"),
    ("precision", "precis.", "{:.3f}"),
    ("rmse_mm", "rmse mm", "{:.2f}"),
    ("bias_x_mm", "dx mm", "{:+.2f}"),
    ("bias_y_mm", "dy mm", "{:+.2f}"),
    ("axis_2se", "2se xy", "{:.2f}"),
    ("radial_2se", "2se r", "{:.2f}"),
    ("mean_radius_pct", "MR %", "{:+.1f}"),
    ("mean_radius_pct_median", "MR med", "{:.2f}"),
    ("extreme_spread_pct", "ES %", "{:+.1f}"),
    ("centre_mm", "centre", "{:.2f}"),
    ("scale_pct", "scale %", "{:+.2f}"),
    ("turn_deg", "turn", "{:+.2f}"),
    ("seconds", "s", "{:.1f}"),
)
# In sums these are means of sizes, so they have no sign.
MEAN_SIZES = {"mean_radius_pct", "extreme_spread_pct", "scale_pct", "turn_deg"}
KIND_COLUMNS = (
    ("true", "true", "{:d}"),
    ("claims", "claims", "{:d}"),
    ("recall", "recall", "{:.3f}"),
    ("precision", "precis.", "{:.3f}"),
    ("rmse_mm", "rmse mm", "{:.2f}"),
    ("length_rmse_mm", "length mm", "{:.2f}"),
    ("angle_rmse_deg", "angle deg", "{:.1f}"),
)
#: Sums whose blade cuts, arrows and calibration are printed; JSON holds them for all.
IN_DETAIL = ("easy and medium", "difficulty hard", "all")


def print_report(
    photos: Sequence[tuple[str, dict[str, Any]]],
    sums: Sequence[dict[str, Any]],
    bars: Sequence[dict[str, Any]],
) -> None:
    """Print each photo, the sums, cuts, arrows and calibration, and the bars if there are any."""
    print(_head("photo", COLUMNS))
    for name, row in photos:
        print(_line(name + (" +before" if row["before"] else ""), row, COLUMNS))
        if row["error"]:
            print(f"    error: {row['error']}")
        for warning in row["warnings"]:
            print(f"    warning: {warning}")
    print("\n" + _head("sum (photos)", COLUMNS))
    for row in sums:
        print(_line(f"{row['sum']} ({row['photos']})", row, COLUMNS, signed=False))
    failed = sum(row["error"] is not None for _, row in photos)
    if failed:
        print(f"{failed} of {len(photos)} photos failed")
    detailed = [row for row in sums if row["sum"] in IN_DETAIL]
    for kind, title in (("cuts", "blade cuts"), ("arrows", "arrows standing")):
        print("\n" + _head(title, KIND_COLUMNS))
        for row in detailed:
            print(_line(row["sum"], row[kind], KIND_COLUMNS))
    for row in detailed[-1:]:
        _print_calibration(row)
    if bars:
        _print_bars(bars)


def _print_calibration(row: dict[str, Any]) -> None:
    print("\nstated confidence      finds   stated     real  (± 1 se)")
    for part in row["confidence"]:
        span = f"{part['from']:.2f} to {part['to']:.2f}"
        print(
            f"{span:<20} {part['finds']:>7d} {part['stated']:>8.3f} {part['real']:>8.3f}"
            f"  ({part['se']:.3f})"
        )
    print("\nwithin standard errors   1 se   2 se   would be right")
    for key, title, right in (
        ("axis", "in one axis", "0.683  0.954"),
        ("radial", "radially", "0.393  0.865"),
    ):
        print(f"{title:<22} {row[f'{key}_1se']:>6.3f} {row[f'{key}_2se']:>6.3f}   {right}")


def _print_bars(bars: Sequence[dict[str, Any]]) -> None:
    print(f"\n{'bar':<44} {'to reach':>10} {'measured':>9}")
    words = {True: "met", False: "NOT MET", None: "nothing to measure"}
    for row in bars:
        sign = ">=" if row["at_least"] else "<="
        bound = f"{sign} {row['bar']:g}"
        measured = "-" if math.isnan(row["measured"]) else f"{row['measured']:.3f}"
        name = f"{row['of']}: {row['figure']}"
        print(f"{name:<44} {bound:>10} {measured:>9}  {words[row['met']]}")
    unmet = sum(row["met"] is False for row in bars)
    print(f"{unmet} of {len(bars)} bars not met" if unmet else "no bar missed")


def _head(name: str, columns: Sequence[tuple[str, str, str]]) -> str:
    return f"{name:<36} " + "  ".join(title.rjust(6) for _, title, _ in columns)


def _line(
    name: str,
    row: dict[str, Any],
    columns: Sequence[tuple[str, str, str]],
    *,
    signed: bool = True,
) -> str:
    cells = []
    for key, title, form in columns:
        if not signed and key in MEAN_SIZES:
            form = form.replace("+", "")
        value = row.get(key)
        missing = value is None or (isinstance(value, float) and math.isnan(value))
        cells.append(("-" if missing else form.format(value)).rjust(max(len(title), 6)))
    return f"{name[:36]:<36} " + "  ".join(cells)
