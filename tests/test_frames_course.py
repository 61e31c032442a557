"""The course of the noise of a growing stack, against subs that are really drawn and stacked."""

from __future__ import annotations

import numpy as np
import pytest

from workbook import frames

NIGHT = {
    "exposure_s": 30.0, "sky_e_s_px": 0.15, "dark_e_s_px": 0.1, "read_noise_e": 1.6, "mismatch": 0.206, "darks": 20,
    "drift_x_px": 0.3, "drift_y_px": 0.1, "dither_px": 0.0, "dither_every": 1, "seed": 1,
}  # fmt: skip


@pytest.mark.parametrize(
    "change", [{}, {"dither_px": 6.0}, {"drift_x_px": 0.0, "drift_y_px": 0.0}, {"mismatch": 1.0, "darks": 0}]
)
def test_it_is_the_live_stack(change):
    """Against live_stack, which draws every sub: the drawn noise of 38,400 pixels scatters by 0.4 %, and hot pixels
    have shot noise of their own in the few that the piece holds: 3 % in a single sub.
    """
    night = NIGHT | change
    counts = [1, 2, 7, 20, 40]
    course = frames.noise_course(counts=counts, **night)
    live = list(frames.live_stack(subs=40, **night))
    np.testing.assert_allclose(course.noise_e, [live[n - 1].noise_e for n in counts], rtol=0.03)
    np.testing.assert_allclose(course.floor_e, [live[n - 1].floor_e for n in counts], rtol=1e-9)
    assert list(course.subs) == counts


def test_a_perfect_dark_leaves_the_light_and_the_warmer_pixels_shot_noise():
    """Derivation: no mismatch, endless darks: noise² = (sky + mean dark) t + R², the mean of the invented pattern
    from its own map; it falls with the root of the number.
    """
    night = NIGHT | {"mismatch": 0.0, "darks": 10_000}
    course = frames.noise_course(counts=[1, 100], **night)
    pattern = frames.dark_pattern_e_s_px(width_px=512, height_px=512, dark_e_s_px=0.1, seed=1)
    expected = np.sqrt((0.15 + pattern.mean(dtype=float)) * 30 + 1.6**2)
    assert course.noise_e[0] == pytest.approx(expected, rel=1e-3)
    assert course.noise_e[1] == pytest.approx(expected / 10, rel=0.01)
    assert course.floor_e[0] == pytest.approx(np.sqrt(0.25 * 30 + 1.6**2))


def test_a_stack_that_stands_still_keeps_its_pattern():
    """Derivation: the pattern's own scatter in the piece at no shift, whatever the number of subs."""
    night = NIGHT | {"mismatch": 1.0, "darks": 0, "drift_x_px": 0.0, "drift_y_px": 0.0}
    many = frames.noise_course(counts=400, **night).noise_e[0]
    pattern = frames.dark_pattern_e_s_px(width_px=512, height_px=512, dark_e_s_px=0.1, seed=1)[:160, :240]
    assert many == pytest.approx(30 * pattern.std(dtype=float), rel=0.01)


def test_faults_are_named():
    with pytest.raises(ValueError, match="counts must be 1 to 400"):
        frames.noise_course(counts=[0, 5], **NIGHT)
    with pytest.raises(ValueError, match="dither_px"):
        frames.noise_course(counts=[5], **NIGHT | {"dither_px": -1.0})
