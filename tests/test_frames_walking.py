"""Walking noise, dither, trails and hits: against closed forms, subs stacked whole, and Monte Carlo by astropy."""

import numpy as np
import pytest
from astropy.stats import sigma_clip

from workbook import frames
from workbook.frames import known_shift, sub_shifts_px, walking_noise
from workbook.frames.pattern import relative_pattern
from workbook.frames.pattern_subs import HEIGHT_PX, SENSOR_PX, WIDTH_PX, PatternSubs

NIGHT = {
    "subs": 40, "exposure_s": 60.0, "sky_e_s_px": 1.93, "dark_e_s_px": 0.1, "read_noise_e": 1.6, "mismatch": 0.206,
    "darks": 20, "drift_x_px": 0.3, "drift_y_px": 0.1, "dither_px": 0.0, "dither_every": 1, "seed": 1,
    "method": "mean",
}  # fmt: skip
SEEDS = (1, 2, 3)


def mean_of(field, **change):
    return np.mean([getattr(walking_noise(**NIGHT | {"seed": seed} | change), field) for seed in SEEDS])


# Pattern and shifts


def test_pattern_is_as_described():
    """Derivation: shares and spread as stated; binomial scatter of 2,600 warm pixels is 2 %."""
    dark = frames.dark_pattern_e_s_px(width_px=512, height_px=512, dark_e_s_px=0.2, seed=3) / 0.2
    assert np.median(dark) == pytest.approx(1.0, abs=0.01)
    assert (dark > 3.9).mean() == pytest.approx(0.011, rel=0.07)
    assert (dark > 45).mean() == pytest.approx(0.001, rel=0.2)
    ordinary = dark[(dark < 3.5)]
    assert ordinary.std() == pytest.approx(np.hypot(0.3, 0.08), rel=0.05)
    columns = np.median(dark, axis=0)
    assert columns.std() == pytest.approx(0.08, rel=0.15)
    assert np.median(dark, axis=1).std() < 0.03
    with pytest.raises(ValueError, match="dark_e_s_px must be 0 or more e⁻/s/px"):
        frames.dark_pattern_e_s_px(width_px=5, height_px=5, dark_e_s_px=-1, seed=1)


def test_shifts_drift_and_step():
    """Derivation: a line, and even steps of variance dither²/3 about it that last for dither_every subs."""
    ask = {"subs": 4000, "drift_x_px": 0.25, "drift_y_px": -0.5, "seed": 4}
    line = sub_shifts_px(**ask, dither_px=0, dither_every=1)
    np.testing.assert_allclose(line.x_px, 0.25 * np.arange(4000))
    np.testing.assert_allclose(line.y_px, -0.5 * np.arange(4000))
    stepped = sub_shifts_px(**ask, dither_px=6.0, dither_every=1)
    for own, steady in zip(stepped, line, strict=True):
        assert np.abs(own - steady).max() <= 6
        assert (own - steady).std() == pytest.approx(6 / np.sqrt(3), rel=0.03)
    rare = sub_shifts_px(**ask, dither_px=6.0, dither_every=4)
    steps = (rare.x_px - line.x_px).reshape(-1, 4)
    assert np.ptp(steps, axis=1).max() < 1e-9
    assert len(np.unique(steps[:, 0].round(9))) == 1000
    with pytest.raises(ValueError, match="dither_px must be 0 or more"):
        sub_shifts_px(**ask, dither_px=-1, dither_every=1)
    with pytest.raises(ValueError, match="subs must be 1 to 10000"):
        sub_shifts_px(**ask | {"subs": 0}, dither_px=1, dither_every=1)


# The stack


def test_floor_is_the_ccd_equation():
    """Derivation: √((sky + dark) t + RN²)/√N, and without a pattern the noise is the floor, 2 %."""
    made = walking_noise(**NIGHT | {"mismatch": 0.0, "darks": 0})
    assert made.floor_e == pytest.approx(np.sqrt(2.03 * 60 + 1.6**2) / np.sqrt(40), rel=1e-9)
    cold = walking_noise(**NIGHT | {"dark_e_s_px": 0.0, "darks": 0})
    assert cold.noise_e == pytest.approx(cold.floor_e, rel=0.02)
    assert cold.streak_ratio == pytest.approx(1.0, abs=0.15)
    assert cold.noise_increase == pytest.approx(cold.noise_e / cold.floor_e - 1)


@pytest.mark.parametrize("share", [0.206, -0.26, 1.0])
def test_pattern_without_motion(share):
    """Derivation: √(σ²/N + p²), p the scatter of the pattern's piece, times mismatch, dark and time; 2 %."""
    still = walking_noise(**NIGHT | {"mismatch": share, "darks": 0, "drift_x_px": 0, "drift_y_px": 0})
    piece = relative_pattern(SENSOR_PX, SENSOR_PX, 1)[:HEIGHT_PX, :WIDTH_PX].astype(float)
    variance = ((1.93 + 0.1 * piece) * 60 + 1.6**2).mean() / 40 + (share * 6.0) ** 2 * piece.var()
    assert still.noise_e == pytest.approx(np.sqrt(variance), rel=0.02)
    assert np.isnan(still.streak_ratio)
    assert np.isnan(still.drift_deg)


@pytest.mark.parametrize("share", [0.5, -1.0])
def test_darks_of_another_warmth_have_their_own_noise(share):
    """Derivation: the darks' current is (1 − share) times the subs', 6 K colder half of it, 6 K warmer twice it:
    √(dark (1 − share) mean/n) joins what stays of the pattern; 2 %, few darks and a dim sky so that it counts.
    """
    ask = {
        "mismatch": share,
        "darks": 1,
        "drift_x_px": 0,
        "drift_y_px": 0,
        "read_noise_e": 0.1,
        "dark_e_s_px": 0.005,
    }
    still = walking_noise(**NIGHT | ask | {"sky_e_s_px": 0.0})
    piece = relative_pattern(SENSOR_PX, SENSOR_PX, 1)[:HEIGHT_PX, :WIDTH_PX].astype(float)
    subs = (0.3 * piece + 0.01).mean() / 40 + (share * 0.3) ** 2 * piece.var()
    with_darks = subs + (0.3 * (1 - share) * piece + 0.01).mean()
    assert still.noise_e == pytest.approx(np.sqrt(with_darks), rel=0.02)
    assert still.noise_e > 1.04 * np.sqrt(subs)


def test_pattern_on_other_pixels_each_time():
    """Derivation: √((σ² + p²)/N) where each sub meets other pixels, here 7 px on; 10 %: few hot ones."""
    moved = mean_of("noise_e", darks=0, mismatch=1.0, drift_x_px=7.0, drift_y_px=5.0)
    expected = []
    for seed in SEEDS:
        pattern = relative_pattern(SENSOR_PX, SENSOR_PX, seed).astype(float)
        expected.append(np.sqrt((((1.93 + 0.1 * pattern) * 60 + 1.6**2).mean() + 36 * pattern.var()) / 40))
    assert moved == pytest.approx(np.mean(expected), rel=0.1)


def test_noise_of_the_master_dark_is_a_pattern():
    """Derivation: √(RN² + dark t)/√n of the master stays whole where nothing moves; 3 %."""
    ask = NIGHT | {"dark_e_s_px": 0.0, "darks": 4, "read_noise_e": 5.0, "drift_x_px": 0, "drift_y_px": 0}
    still = walking_noise(**ask)
    assert still.noise_e == pytest.approx(np.sqrt((1.93 * 60 + 25) / 40 + 25 / 4), rel=0.03)


@pytest.mark.parametrize("method", ["mean", "clipped mean"])
@pytest.mark.parametrize("dither_px", [0.0, 5.0])
def test_subs_written_whole_and_stacked(method, dither_px):
    """Source: frames.stack_subs on whole sensor frames that hold the same pattern, moved by whole pixels."""
    night = NIGHT | {
        "subs": 12,
        "dither_px": dither_px,
        "method": method,
        "drift_x_px": 0.8,
        "drift_y_px": -0.4,
    }
    made = walking_noise(**night)
    subs = PatternSubs(60.0, 1.93, 0.1, 1.6, 0.206, 20, 1)
    whole = [known_shift(shift_x_px=x, shift_y_px=y) for x, y in zip(*made.shifts, strict=True)]
    sensors = []
    for one, alignment in zip(subs.each(made.shifts), whole, strict=True):
        sensor = np.full((HEIGHT_PX + 80, WIDTH_PX + 80), np.nan, np.float32)
        right, up = (int(np.floor(place + 0.5)) for place in (alignment.shift_x_px, alignment.shift_y_px))
        sensor[40 + up : 40 + up + HEIGHT_PX, 40 + right : 40 + right + WIDTH_PX] = one
        sensors.append(sensor)
    stacked = frames.stack_subs(
        sensors, alignments=whole, method=method, resampling="whole pixels", match_background=False
    ).light_adu[40 : 40 + HEIGHT_PX, 40 : 40 + WIDTH_PX]
    np.testing.assert_allclose(made.picture_e, stacked - np.median(stacked), rtol=0, atol=1e-4)


def test_a_longer_night_begins_as_a_shorter_one():
    """Exact invariant: after 12 of 40 subs the growing stack is that of 12, dithered or not, drawn noise and all."""
    for dither_px, every in ((0.0, 1), (6.0, 4), (6.0, 5)):
        night = {k: v for k, v in NIGHT.items() if k != "method"} | {
            "dither_px": dither_px,
            "dither_every": every,
        }
        growing = list(frames.live_stack(**night))[11]
        short = walking_noise(**night | {"subs": 12, "method": "mean"})
        np.testing.assert_allclose(growing.picture_e, short.picture_e, atol=1e-4)
        np.testing.assert_array_equal(growing.shifts.y_px, short.shifts.y_px)


def test_live_stack_ends_where_the_stack_does():
    night = {name: value for name, value in NIGHT.items() if name != "method"}
    *_, last = frames.live_stack(**night)
    whole = walking_noise(**NIGHT)
    np.testing.assert_allclose(last.picture_e, whole.picture_e, atol=1e-4)
    assert last[1] == whole.subs == 40
    np.testing.assert_array_equal(last.shifts.x_px, whole.shifts.x_px)


# What the lesson says


def test_drift_draws_streaks_and_dither_takes_them_away():
    """Derivation: a steady drift correlates the pattern along itself; random steps do not."""
    assert mean_of("streak_ratio") > 3
    assert mean_of("streak_ratio", dither_px=8.0) < 1.5
    assert mean_of("noise_increase", dither_px=8.0) < 0.6 * mean_of("noise_increase")
    assert mean_of("noise_increase", dither_px=8.0, method="clipped mean") < 0.05
    often = mean_of("noise_increase", dither_px=8.0, mismatch=1.0, darks=0)
    assert often < 0.8 * mean_of("noise_increase", dither_px=8.0, dither_every=4, mismatch=1.0, darks=0)


@pytest.mark.parametrize(("right", "up", "angle"), [(0.3, 0.1, 18.435), (0.3, -0.3, -45.0), (0.0, 0.4, 90.0)])
def test_streaks_run_along_the_drift(right, up, angle):
    """Derivation: seen in any other direction the ratio is smaller; drift_deg by hand from the components."""
    made = walking_noise(**NIGHT | {"drift_x_px": right, "drift_y_px": up, "mismatch": 1.0, "darks": 0})
    assert made.drift_deg == pytest.approx(angle, abs=0.001)
    turned = {off: frames.streak_ratio(made.picture_e, direction_deg=angle + off) for off in (45, -45, 90)}
    assert made.streak_ratio > 2 * max(turned.values())
    assert turned[90] == pytest.approx(1 / made.streak_ratio, rel=1e-3)


def test_streak_ratio_of_plain_noise_and_of_lines():
    """Derivation: white noise is the same in all directions, within 5 % of scatter; lines are not."""
    noise = np.random.default_rng(1).normal(size=(160, 240))
    for angle in (0, 30, 77, 90, 150):
        assert frames.streak_ratio(noise, direction_deg=angle) == pytest.approx(1.0, abs=0.2)
    rows = noise + np.random.default_rng(2).normal(size=(160, 1))
    assert frames.streak_ratio(rows, direction_deg=0) > 5
    assert frames.streak_ratio(rows, direction_deg=90) < 0.2


def test_needed_dither():
    """Derivation: the first of the tried steps that reaches the goal, by trying them one by one; NaN if none."""
    night = {n: v for n, v in NIGHT.items() if n not in ("dither_px", "seed")} | {"method": "clipped mean"}
    step = frames.dither_needed_px(noise_increase=0.04, seeds=SEEDS, **night)
    assert 0 < step <= 8
    assert mean_of("noise_increase", dither_px=step, method="clipped mean") <= 0.04
    assert mean_of("noise_increase", dither_px=0.0, method="clipped mean") > 0.04
    assert np.isnan(frames.dither_needed_px(noise_increase=0.0, seeds=(1,), **night))


def test_impossible_nights():
    for change, message in (
        ({"subs": 401}, "subs must be 1 to 400"),
        ({"method": "median"}, "method must be one of 'mean', 'clipped mean'"),
        ({"exposure_s": 0}, "exposure_s must be above 0"),
        ({"sky_e_s_px": -1}, "sky_e_s_px must be 0 or more"),
        ({"mismatch": 20}, "mismatch must be -10 to 10"),
        ({"dither_every": 0}, "dither_every must be 1"),
    ):
        with pytest.raises(ValueError, match=message):
            walking_noise(**NIGHT | change)


# Trails and hits


@pytest.mark.parametrize("subs", [1, 5, 16])
def test_a_mean_keeps_its_share_of_a_trail(subs):
    """Derivation: A/N over 1/√N."""
    left = frames.trail_left_sigmas(subs=subs, trail_sigmas=12, clip_sigmas=3, method="mean", seed=1)
    assert left == pytest.approx(12 / np.sqrt(subs), rel=1e-4)


@pytest.mark.parametrize("clip_sigmas", [2.5, 3.0, 4.0])
def test_subs_that_remove_a_bright_trail(clip_sigmas):
    """Derivation: the first N with N/√(N − 1) above the limit."""
    by_hand = next(n for n in range(3, 100) if n / np.sqrt(n - 1) > clip_sigmas)
    needed = frames.subs_to_remove_trail(trail_sigmas=1000, clip_sigmas=clip_sigmas, left_sigmas=0.5, seed=1)
    assert needed == by_hand


@pytest.mark.parametrize(("subs", "trail"), [(8, 20), (10, 8), (20, 5)])
def test_what_is_left_by_astropy(subs, trail):
    """Source: astropy's sigma_clip on other noise; 0.06, three errors of 20,000 pixels against 4,000."""
    clean = np.random.default_rng(77).standard_normal((subs, 20_000))
    marked = clean.copy()
    marked[0] += trail
    ask = {"sigma": 3.0, "maxiters": 5, "axis": 0, "cenfunc": "median", "stdfunc": "std"}
    theirs = (
        sigma_clip(marked, **ask).mean(axis=0) - sigma_clip(clean, **ask).mean(axis=0)
    ).mean() * np.sqrt(subs)
    ours = frames.trail_left_sigmas(
        subs=subs, trail_sigmas=trail, clip_sigmas=3, method="clipped mean", seed=1
    )
    assert ours == pytest.approx(theirs, abs=0.06 + 0.03 * abs(theirs))


def test_median_leaves_little_of_any_trail():
    """Derivation: one far value among N moves the median by half the step between ranks, 1.25 σ/N at many."""
    left = frames.trail_left_sigmas(subs=64, trail_sigmas=1e4, clip_sigmas=3, method="median", seed=1)
    assert left == pytest.approx(np.sqrt(np.pi / 2) / np.sqrt(64), rel=0.15)


def test_trail_in_one_sub_of_a_stack():
    """Derivation: of five subs the clip leaves the trail in, of twelve none of it; the mean keeps a twelfth."""
    trail = frames.satellite_trail_e(
        width_px=120, height_px=90, x_px=60, y_px=45, angle_deg=30, sigma_px=1.5, trail_e_px=600
    )
    middle = trail > 500
    left = {}
    for method in ("mean", "clipped mean"):
        for count in (5, 12):
            subs = np.random.default_rng(1).normal(100, 8, (count, 90, 120)).astype(np.float32)
            subs[2] += trail
            made = frames.stack_subs(
                subs,
                alignments=[known_shift(shift_x_px=0, shift_y_px=0)] * count,
                method=method,
                resampling="whole pixels",
            )
            left[method, count] = made.light_adu[middle].mean() - 100
            if (method, count) == ("clipped mean", 12):
                assert (made.rejected[middle] >= 1).all()
    assert left["mean", 12] == pytest.approx(trail[middle].mean() / 12, abs=1.5)
    assert left["clipped mean", 5] == pytest.approx(trail[middle].mean() / 5, abs=3)
    assert abs(left["clipped mean", 12]) < 1.5


def test_trail_is_a_line():
    """Derivation: places along the direction are bright, places across fall off as a Gaussian."""
    trail = frames.satellite_trail_e(
        width_px=100, height_px=100, x_px=50, y_px=50, angle_deg=45, sigma_px=2.0, trail_e_px=100
    )
    np.testing.assert_allclose(np.diag(trail), 100, rtol=1e-5)
    assert trail[52, 48] == pytest.approx(100 * np.exp(-0.5 * (4 / np.sqrt(2) / 2) ** 2), rel=1e-5)
    flat = frames.satellite_trail_e(
        width_px=50, height_px=40, x_px=0, y_px=10, angle_deg=20, sigma_px=1.0, trail_e_px=100
    )
    assert flat.argmax(axis=0)[40] == round(10 + 40 * np.tan(np.radians(20)))


def test_hits_are_few_and_sharp():
    """Derivation: a Poisson number of hits, each no longer than told; light as given, on average."""
    many = [
        frames.cosmic_rays_e(width_px=300, height_px=200, hits=20, hit_e=500, longest_px=4, seed=s)
        for s in range(60)
    ]
    touched = np.mean([(each > 0).sum() for each in many])
    assert 20 < touched < 20 * 6
    bright = np.concatenate([each[each > 0] for each in many])
    assert bright.mean() == pytest.approx(500, rel=0.1)
    assert frames.cosmic_rays_e(width_px=9, height_px=9, hits=0, hit_e=5, longest_px=2, seed=1).sum() == 0
    with pytest.raises(ValueError, match="hits must be 0 or more"):
        frames.cosmic_rays_e(width_px=9, height_px=9, hits=-1, hit_e=5, longest_px=2, seed=1)
    with pytest.raises(ValueError, match="trail_sigmas 2 is not removed by 100 subs at clip_sigmas 6"):
        frames.subs_to_remove_trail(trail_sigmas=2, clip_sigmas=6, left_sigmas=0.1, seed=1)
