import numpy as np
import pytest

from groupscan.aims import about_aim
from groupscan.report.shots import group_of_shots
from tests.report.report_tables import shots_table


@pytest.fixture
def shots():
    return about_aim(shots_table(np.random.default_rng(7).normal((30, -12), 18, (9, 2))))


@pytest.fixture
def group(shots):
    return group_of_shots(shots, distance_m=18.0)
