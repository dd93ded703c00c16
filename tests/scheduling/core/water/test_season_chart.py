"""The chart of a zone's season stays inside its frame."""

import numpy as np
import pytest

from scheduling.core.water.season_chart import season_chart


@pytest.mark.parametrize("days", [1, 3, 7, 8, 13, 201, 365])
def test_every_bar_lies_inside_the_frame_and_as_high_as_its_week(days):
    dates = np.arange(np.datetime64("2026-01-01"), np.datetime64("2026-01-01") + days)
    ones = np.ones(days)
    chart = season_chart(dates, 3 * ones, 2 * ones, ones, 5 * ones, 10.0, 30.0, np.zeros(days, np.bool_))
    weeks = -(-days // 7)
    assert len(chart.rain) == len(chart.irrigation) == weeks
    for rain, irrigation in zip(chart.rain, chart.irrigation, strict=True):
        assert chart.left <= rain.x
        assert rain.x + rain.width <= irrigation.x + 1e-9
        assert irrigation.x + irrigation.width <= chart.right + 1e-9
        assert rain.height == pytest.approx(2 * irrigation.height)
