"""Angles wrap the same whether they come alone or in arrays."""

from __future__ import annotations

import numpy as np
import pytest

from archive.model.angles import difference_deg, weighted_mean_deg, wrapped_deg


@pytest.mark.parametrize(
    ("angle_deg", "expected_deg"), [(0.0, 0.0), (180.0, 180.0), (-180.0, 180.0), (181.0, -179.0), (-541.0, 179.0)]
)
def test_angles_wrap_into_the_half_open_circle(angle_deg: float, expected_deg: float) -> None:
    assert wrapped_deg(angle_deg) == expected_deg
    assert wrapped_deg(np.array([angle_deg])).tolist() == [expected_deg]


def test_an_array_of_single_precision_stays_one_and_the_caller_s_is_not_changed() -> None:
    angles = np.array([-190.0, 10.0, 350.0], np.float32)
    wrapped = wrapped_deg(angles)
    assert wrapped.dtype == np.float32
    assert wrapped.tolist() == [170.0, 10.0, -10.0]
    assert angles.tolist() == [-190.0, 10.0, 350.0]


def test_differences_go_the_short_way() -> None:
    assert difference_deg(-179.0, 179.0) == 2.0
    assert difference_deg(179.0, -179.0) == -2.0


def test_mean_of_directions_beside_south_is_beside_south() -> None:
    assert weighted_mean_deg([179.0, -179.0], [1.0, 3.0]) == -179.5
    assert weighted_mean_deg([-179.0, 179.0], [3.0, 1.0]) == -179.5
