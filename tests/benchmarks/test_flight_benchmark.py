"""The benchmark of the flight: its table of errors keeps the bar, its rates are told."""

import numpy as np
import pytest

from benchmarks import flight


@pytest.mark.parametrize("slope", [0.0, 0.7, -0.7])
def test_the_flight_is_within_a_tenth_of_a_millimetre_of_the_reference(slope):
    table = flight.errors(slope_rad=slope)
    assert np.isfinite(table).sum() > table.size / 2
    assert np.nanmax(table) < flight.BAR_M


def test_every_rate_is_told():
    found = flight.rates(shots=10, seconds=0.01)
    assert len(found) == 4
    assert all(rate > 0 for rate in found.values())


def test_the_table_is_printed(monkeypatch, capsys):
    monkeypatch.setattr("sys.argv", ["flight", "--shots", "100", "--seconds", "0.01"])
    monkeypatch.setattr(flight, "SPEEDS_MPS", (85.0,))
    flight.main()
    printed = capsys.readouterr().out
    assert "times solve_ivp" in printed
    assert "slope -40 degrees" in printed
    assert "over its bar" not in printed
