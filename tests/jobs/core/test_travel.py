import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.core.routing.travel import GreatCircle, Point, SpeedBand, TravelMatrix, distance_m

points = st.builds(Point, st.floats(46.9, 47.9), st.floats(-122.9, -121.9))


def test_haversine_gives_the_reference_distances():
    # Haversine by hand: 52.18 km; and the pair of 2886.4 km.
    assert distance_m(Point(50.80, 4.35), Point(51.05, 3.72)) / 1000 == pytest.approx(52.18, abs=0.01)
    assert distance_m(Point(36.12, -86.67), Point(33.94, -118.40)) / 1000 == pytest.approx(2886.4, abs=0.1)


def test_one_speed_gives_the_reference_travel_time():
    # Same source: 52.18 km x 1.3 at 50 km/h = 81.4 min.
    fifty = GreatCircle(1.3, (SpeedBand(None, 50.0),))
    matrix = fifty.matrix([Point(50.80, 4.35), Point(51.05, 3.72)])
    assert matrix.seconds[0, 1] / 60 == pytest.approx(81.4, abs=0.05)
    assert matrix.metres[0, 1] == pytest.approx(1.3 * 52178, abs=10)


def test_each_band_is_paid_for_its_own_kilometres():
    # 20 road km = 3 km at 25, 9 km at 45, 8 km at 65: 432 + 720 + 443.1 s, by hand.
    one_degree_m = distance_m(Point(0, 0), Point(1, 0))
    north = Point(20_000 / 1.3 / one_degree_m, 0)
    assert GreatCircle().matrix([Point(0, 0), north]).seconds[0, 1] == pytest.approx(1595.1, abs=1.0)


@given(st.lists(points, min_size=3, max_size=7))
def test_estimates_are_symmetric_complete_and_no_detour_is_shorter(places):
    matrix = GreatCircle().matrix(places)
    assert (matrix.seconds == matrix.seconds.T).all()
    assert (np.diag(matrix.seconds) == 0).all()
    via = (matrix.seconds[:, :, None] + matrix.seconds[None, :, :]).min(axis=1)
    assert (matrix.seconds <= via).all()


def test_part_of_a_matrix_is_found_by_point_and_a_stranger_is_named():
    a, b, c = Point(47.6, -122.3), Point(47.7, -122.2), Point(47.5, -122.1)
    whole = GreatCircle().matrix([a, b, c])
    part = whole.between([c, a, c])
    assert part.seconds[0, 1] == whole.seconds[2, 0]
    assert part.seconds[0, 2] == 0
    with pytest.raises(KeyError, match="48.0"):
        whole.between([a, Point(48.0, -122.0)])


@pytest.mark.parametrize(
    "bands",
    [
        (),
        (SpeedBand(3, 25),),
        (SpeedBand(None, 25), SpeedBand(None, 30)),
        (SpeedBand(3, 0), SpeedBand(None, 5)),
    ],
)
def test_senseless_speed_bands_are_refused(bands):
    with pytest.raises(ValueError, match="speed"):
        GreatCircle(1.3, bands)


def test_a_matrix_of_the_wrong_shape_and_a_place_off_the_globe_are_refused():
    one = np.zeros((1, 1), dtype=np.int64)
    with pytest.raises(ValueError, match="2 x 2"):
        TravelMatrix((Point(0, 0), Point(1, 1)), one, one, one.astype(bool), "test")
    with pytest.raises(ValueError, match="Earth"):
        Point(91, 0)
