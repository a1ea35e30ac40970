import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from pinseat.report.labels import assign, ports_around


def cross(a: np.ndarray, b: np.ndarray, c: np.ndarray, d: np.ndarray) -> bool:
    def side(p: np.ndarray, q: np.ndarray, r: np.ndarray) -> float:
        return float((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) < -1e-9 and side(c, d, a) * side(c, d, b) < -1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 2**31), st.integers(1, 12), st.floats(0.2, 8.0))
def test_lines_never_cross_and_names_never_touch(seed: int, count: int, wide: float) -> None:
    points = np.random.default_rng(seed).uniform(-5.0, 5.0, (count, 2)) * np.array([wide, 1.0])
    ports = ports_around(points, 2.0, (2.0, 1.0))
    chosen = ports[assign(points, ports)]
    for i in range(count):
        for j in range(i):
            assert not cross(points[i], chosen[i], points[j], chosen[j])
            assert (np.abs(chosen[i] - chosen[j]) >= np.array([2.0, 1.0]) * 0.999).any()


def test_all_names_stand_outside_the_points() -> None:
    points = np.array([[0.0, 0.0], [10.0, 0.0], [10.0, 4.0], [0.0, 4.0]])
    ports = ports_around(points, 1.0, (1.0, 1.0))
    outside = (ports < points.min(axis=0)) | (ports > points.max(axis=0))
    assert outside.any(axis=1).all()
