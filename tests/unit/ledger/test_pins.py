import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pinseat.ledger.pins import frame


@given(arrays(float, 3, elements=st.floats(-1, 1)).filter(lambda v: np.linalg.norm(v) > 0.1))
def test_frame_is_right_handed_and_across_the_axis(v: np.ndarray) -> None:
    axis = v / np.linalg.norm(v)
    u, w = frame(axis)
    np.testing.assert_allclose([u @ u, w @ w, u @ w, u @ axis, w @ axis], [1, 1, 0, 0, 0], atol=1e-12)
    np.testing.assert_allclose(np.cross(u, w), axis, atol=1e-12)
