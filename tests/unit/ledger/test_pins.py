import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from pinseat.ledger.pins import Pin, PinField, frame


@given(arrays(float, 3, elements=st.floats(-1, 1)).filter(lambda v: np.linalg.norm(v) > 0.1))
def test_frame_is_right_handed_and_across_the_axis(v: np.ndarray) -> None:
    axis = v / np.linalg.norm(v)
    u, w = frame(axis)
    np.testing.assert_allclose([u @ u, w @ w, u @ w, u @ axis, w @ axis], [1, 1, 0, 0, 0], atol=1e-12)
    np.testing.assert_allclose(np.cross(u, w), axis, atol=1e-12)


def test_a_turned_tooth_turns_all_its_pins_alike() -> None:
    """Turning teeth by random rotations, many times over, spreads their axes as the covariance says."""
    rng = np.random.default_rng(7)
    axes = rng.normal([0.0, 0.0, 1.0], 0.2, (3, 3))
    axes /= np.linalg.norm(axes, axis=1)[:, None]
    teeth, u = (11, 11, 22), 0.002
    pins = tuple(Pin(t, k, np.zeros(3), axes[k], 0.6, 3.0, 0.0, 0.0, 0.0) for k, t in enumerate(teeth))
    turns = {tooth: rng.normal(0.0, u, (200_000, 3)) for tooth in (11, 22)}
    seen = np.hstack([np.cross(turns[p.tooth], p.axis) @ frame(p.axis).T for p in pins])
    told = PinField(pins, np.zeros((12, 12)), "scan", u).tilt_covariance
    error = u**2 * np.sqrt(2.0 / len(seen))  # of a sampled variance
    np.testing.assert_allclose(np.cov(seen.T), told, atol=5.0 * error)
