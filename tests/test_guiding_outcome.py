"""The grown star, what guiding leaves, guide stars, flexure and one-way guiding."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import linregress, poisson
from support import assert_broadcasts, assert_row, rows

import workbook.guiding.flexure as flexure
import workbook.guiding.one_way as one_way
import workbook.guiding.outcome as outcome
import workbook.guiding.servo as servo
import workbook.guiding.stars as stars
from workbook import alignment, guiding, optics, pointing, rotation, sky

ROWS = rows("guiding.csv")
T = np.arange(0, 1900, 0.1)


def test_grown_star_rows():
    """Rows PSF-15, PSF-16 and TRK-15: per axis for the width, both together for the total."""
    star = outcome.grown_star(ra_rms_arcsec=0.9, dec_rms_arcsec=0.5, star_fwhm_arcsec=1.06 * 2.35482)
    assert_row(ROWS["PSF-15"], 1 / star.roundness)
    assert star.ra_fwhm_arcsec > star.dec_fwhm_arcsec
    same = outcome.grown_star(ra_rms_arcsec=0.8, dec_rms_arcsec=0.8, star_fwhm_arcsec=2)
    assert_row(ROWS["PSF-16"], np.sqrt(same.ra_fwhm_arcsec**2 - 4))
    assert_row(ROWS["TRK-15"], same.total_rms_arcsec)
    assert same.roundness == 1
    assert same.growth == pytest.approx(same.ra_fwhm_arcsec / 2)


def test_star_growth_sub_by_sub():
    """Derivation: rms of a sine A/√2; a jump between subs costs nothing, settling is left out."""
    t = np.arange(0, 610, 0.1)
    swing = np.where(t < 10, 50, np.sin(2 * np.pi * (t - 10) / 20))
    jumps = np.where(t < 10, -7, np.floor((t - 10) / 60 + 1e-6) * 3)
    star = outcome.star_growth(
        times_s=t, ra_arcsec=swing, dec_arcsec=jumps, sub_s=60, settle_s=10, star_fwhm_arcsec=3
    )
    assert star.ra_rms_arcsec == pytest.approx(np.sqrt(0.5), rel=1e-3)
    assert star.dec_rms_arcsec == pytest.approx(0, abs=1e-6)
    assert star.ra_fwhm_arcsec == pytest.approx(np.hypot(3, 2.35482 * np.sqrt(0.5)), rel=1e-3)
    ramp = outcome.star_growth(
        times_s=t, ra_arcsec=0.01 * t, dec_arcsec=0 * t, sub_s=60, settle_s=0, star_fwhm_arcsec=3
    )
    assert ramp.ra_rms_arcsec == pytest.approx(0.6 / np.sqrt(12), rel=1e-3)  # a trail L has the moment L²/12


@pytest.mark.parametrize(("exposure", "dead", "gain"), [(2, 1, 0.6), (1, 0.5, 0.3), (4, 1, 1.0)])
def test_what_guiding_leaves_is_what_a_run_leaves(exposure, dead, gain):
    """Derivation: the closed form against the simulated loop: lag behind a gear 8 %, noise 8 %."""
    gear = 25 * np.sin(2 * np.pi * T / 420)
    how = {
        "air_arcsec": np.zeros((2, T.size)), "exposure_s": exposure, "dead_time_s": dead, "aggressiveness": gain,
        "minimum_move_arcsec": 0, "longest_pulse_s": 2, "guide_speed": 0.9, "dec_deg": 0, "backlash_arcsec": 0,
        "seed": 5, "directions": "both",
    }  # fmt: skip
    left = outcome.left_by_guiding(
        exposure_s=exposure, dead_time_s=dead, aggressiveness=gain, seen_sigma_arcsec=0.4
    )
    quiet = servo.guide(times_s=T, ra_arcsec=gear, dec_arcsec=0 * T, centroid_sigma_arcsec=0, **how)
    found = outcome.left_in_run(times_s=T, guided_arcsec=quiet.ra_arcsec, unguided_arcsec=gear, settle_s=60)
    assert found.lag_s == pytest.approx(left.lag_s, rel=0.08)
    long = np.arange(0, 12_000, 0.1)
    how["air_arcsec"] = np.zeros((2, long.size))
    noisy = servo.guide(
        times_s=long, ra_arcsec=0 * long, dec_arcsec=0 * long, centroid_sigma_arcsec=0.4, **how
    )
    assert noisy.ra_arcsec[1000:].std() == pytest.approx(left.noise_arcsec, rel=0.08)


def test_left_in_run_splits_lag_and_unrest():
    """Derivation: a path made of lag × speed and a known rest gives both back; the sign of the lag counts."""
    gear = 25 * np.sin(2 * np.pi * T / 420)
    speed = 25 * 2 * np.pi / 420 * np.cos(2 * np.pi * T / 420)
    rest = 0.5 * np.random.default_rng(1).standard_normal(T.size)
    left = outcome.left_in_run(times_s=T, guided_arcsec=4 * speed + rest, unguided_arcsec=gear, settle_s=0)
    assert left.lag_s == pytest.approx(4, abs=0.05)
    assert left.noise_arcsec == pytest.approx(0.5, rel=0.02)
    early = outcome.left_in_run(times_s=T, guided_arcsec=-4 * speed, unguided_arcsec=gear, settle_s=0)
    assert early.lag_s == pytest.approx(-4, abs=0.05)


def test_errors_of_the_outcome():
    path = {"times_s": T, "ra_arcsec": 0 * T, "dec_arcsec": 0 * T, "settle_s": 0, "star_fwhm_arcsec": 3}
    with pytest.raises(ValueError, match=r"no sub of 3000 s fits in after 0 s of settling"):
        outcome.star_growth(sub_s=3000, **path)
    with pytest.raises(ValueError, match="dec_arcsec needs 19000 values, one for each time, received 2"):
        outcome.star_growth(sub_s=60, **path | {"dec_arcsec": [0, 1]})
    with pytest.raises(ValueError, match="star_fwhm_arcsec must be above 0 ″"):
        outcome.grown_star(ra_rms_arcsec=1, dec_rms_arcsec=1, star_fwhm_arcsec=0)
    with pytest.raises(ValueError, match="aggressiveness must be above 0"):
        outcome.left_by_guiding(exposure_s=1, dead_time_s=1, aggressiveness=0, seen_sigma_arcsec=1)
    with pytest.raises(ValueError, match="never moves"):
        outcome.left_in_run(times_s=T, guided_arcsec=T, unguided_arcsec=0 * T, settle_s=0)
    with pytest.raises(ValueError, match="must have one length"):
        outcome.left_in_run(times_s=T, guided_arcsec=T[1:], unguided_arcsec=T, settle_s=0)
    with pytest.raises(ValueError, match="only 0 steps are left"):
        outcome.left_in_run(times_s=T, guided_arcsec=T, unguided_arcsec=T, settle_s=3000)


def test_guide_star_chance_row_cnt_06_and_the_poisson_law():
    """Row CNT-06; two and more stars against scipy's Poisson law; a whole sphere has 41,253 square degrees."""
    field = {"width_deg": 0.91, "height_deg": 0.69, "star_count_deg2": 2.195}
    assert_row(ROWS["CNT-06"], stars.guide_star_chance(**field, stars=1))
    for count in (2, 3, 7):
        wanted = poisson.sf(count - 1, 0.91 * 0.69 * 10 * 2.195)
        found = stars.guide_star_chance(**field | {"star_count_deg2": 21.95}, stars=count)
        assert found == pytest.approx(wanted, rel=1e-3)
    half = stars.guide_star_chance(width_deg=180, height_deg=180, star_count_deg2=1 / 41252.96, stars=1)
    assert half == pytest.approx(1 - np.exp(-0.5), rel=1e-6)


GUIDE = {
    "exposure_s": 2, "aperture_mm": 32, "throughput": 0.5, "scale_arcsec_px": 5.89, "fwhm_px": 1,
    "sky_mag_arcsec2": 18.6, "dark_e_s_px": 1, "read_noise_e": 3, "centroid_sigma_arcsec": 0.3,
}  # fmt: skip


def test_faintest_star_gives_back_the_error():
    """Derivation: photons of that magnitude through the guide telescope, placed by the bound: 0.3″ again."""
    mag = stars.faintest_star_mag(**GUIDE)
    caught = np.pi / 4 * 0.032**2 * 0.5 * 2
    star_e = 8.794e9 * 10 ** (-0.4 * mag) * caught
    background = 2 * (
        sky.sky_electrons_s_px(sky_mag_arcsec2=18.6, aperture_mm=32, scale_arcsec_px=5.89, throughput=0.5) + 1
    )
    error = guiding.centroid_sigma_px(fwhm_px=1, star_e=star_e, background_e_px=background, read_noise_e=3)
    assert error * 5.89 == pytest.approx(0.3, rel=1e-6)
    ten = stars.faintest_star_mag(**GUIDE | {"sky_mag_arcsec2": 30, "dark_e_s_px": 0, "read_noise_e": 0})
    wide = stars.faintest_star_mag(
        **GUIDE | {"sky_mag_arcsec2": 30, "dark_e_s_px": 0, "read_noise_e": 0, "aperture_mm": 64}
    )
    assert wide - ten == pytest.approx(2.5 * np.log10(4), abs=0.01)  # four times the light where photons rule
    assert stars.faintest_star_mag(**GUIDE | {"sky_mag_arcsec2": 21.5}) > mag


def test_several_stars_by_drawing_them():
    """Derivation: 200,000 corrections of five stars that share 0.6 of their motion, counted; ±1 %."""
    random = np.random.default_rng(2)
    shared, own = random.standard_normal((200_000, 1)), random.standard_normal((200_000, 5))
    tilt = 0.4 * (np.sqrt(0.6) * shared + np.sqrt(0.4) * own)
    mean = (tilt + 0.3 * random.standard_normal((200_000, 5))).mean(axis=1)
    each = {"centroid_sigma_arcsec": 0.3, "tilt_sigma_arcsec": 0.4}
    found = stars.several_stars_sigma_arcsec(stars=5, tilt_correlation=0.6, **each)
    assert found == pytest.approx(mean.std(), rel=0.01)
    assert stars.several_stars_sigma_arcsec(stars=1, tilt_correlation=0.3, **each) == pytest.approx(0.5)
    none = stars.several_stars_sigma_arcsec(stars=9, tilt_correlation=0, **each)
    assert none == pytest.approx(0.5 / 3)
    many = stars.several_stars_sigma_arcsec(stars=1e6, tilt_correlation=1, **each)
    assert many == pytest.approx(0.4, rel=1e-5)


def test_scale_row_trk_13():
    """Row TRK-13: a centroid error travels to the main camera by the ratio of scales, not of focal lengths: pixels of
    2.9 µm behind 120 mm see 4.98473″, of 3.76 µm behind 250 mm 3.10222″.
    """
    guide, main = (
        optics.image_scale_arcsec_px(pixel_um=pixel, focal_mm=focal)
        for pixel, focal in ((2.9, 120), (3.76, 250))
    )
    assert_row(ROWS["TRK-13"], 0.2 * guide / main)


def test_flexure_rows_and_the_longest_sub():
    """Row TRK-16; the longest sub turned round (derivation)."""
    trail = flexure.flexure_trail_px(flexure_arcsec_min=1.5, sub_s=300, scale_arcsec_px=3.10222)
    assert_row(ROWS["TRK-16"], trail)
    sub = flexure.longest_sub_s(flexure_arcsec_min=1.5, tolerance_px=trail, scale_arcsec_px=3.10222)
    assert sub == pytest.approx(300)
    assert flexure.longest_sub_s(flexure_arcsec_min=[0, -1.5], tolerance_px=1, scale_arcsec_px=2)[0] == np.inf
    assert flexure.longest_sub_s(flexure_arcsec_min=-1.5, tolerance_px=1, scale_arcsec_px=2) == pytest.approx(
        80
    )


def test_flexure_fit_by_another_least_squares():
    """Source: scipy's linregress for the slopes; its errors under white noise, ours no smaller, over 60 series."""
    t = np.arange(0, 5400, 120.0)
    random, z, ratio = np.random.default_rng(6), [], []
    for _ in range(60):
        ra = 0.15 / 60 * t + 0.3 * random.standard_normal(t.size)
        dec = -0.2 / 60 * t + 0.3 * random.standard_normal(t.size)
        found = flexure.fit_flexure(times_s=t, ra_arcsec=ra, dec_arcsec=dec)
        lines = linregress(t, ra), linregress(t, dec)
        assert found.ra_arcsec_min == pytest.approx(60 * lines[0].slope, rel=1e-9)
        assert found.dec_arcsec_min == pytest.approx(60 * lines[1].slope, rel=1e-9)
        assert found.rate_arcsec_min == pytest.approx(np.hypot(found.ra_arcsec_min, found.dec_arcsec_min))
        z.append((found.rate_arcsec_min - 0.25) / found.rate_sigma_arcsec_min)
        ratio.append(found.rate_sigma_arcsec_min / (60 * lines[0].stderr))
    assert 0.7 < np.std(z) < 1.3
    assert 0.9 < np.median(ratio) < 1.1
    wander, z = np.random.default_rng(7), []
    for _ in range(60):  # a guided frame that wanders: the error still scatters by about one sigma
        ra = 0.25 / 60 * t + np.cumsum(0.3 * wander.standard_normal(t.size))
        found = flexure.fit_flexure(times_s=t, ra_arcsec=ra, dec_arcsec=0 * t)
        z.append((found.rate_arcsec_min - 0.25) / found.rate_sigma_arcsec_min)
    assert 0.7 < np.std(z) < 1.5
    still = flexure.fit_flexure(times_s=t, ra_arcsec=0 * t, dec_arcsec=0 * t)
    assert (still.rate_arcsec_min, still.rate_sigma_arcsec_min) == (0, 0)


@pytest.mark.parametrize("latitude", [52, -34, 1])
@pytest.mark.parametrize(("hour", "dec", "wanted"), [(0, 30, 1.0), (-70, 60, -0.7), (50, -20, 2.0)])
def test_one_way_offset_against_the_laws_of_axis_and_rotation(latitude, hour, dec, wanted):
    """Derivation: drift by `alignment`, spin by the two-axis law of `rotation`; no smaller axis error does it."""
    plan = one_way.one_way_offset(
        drift_arcsec_min=wanted, hour_angle_deg=hour, dec_deg=dec, latitude_deg=latitude, session_h=4
    )
    axis = {
        "azimuth_error_arcmin": plan.azimuth_error_arcmin,
        "altitude_error_arcmin": plan.altitude_error_arcmin,
    }
    at = alignment.dec_drift_arcsec_min(**axis, hour_angle_deg=hour, latitude_deg=latitude)
    assert at == pytest.approx(wanted, rel=1e-3)
    assert plan.pole_error_arcmin == pytest.approx(abs(wanted) / 0.2625, rel=1e-3)
    assert plan.pole_error_arcmin == pytest.approx(
        pointing.pole_error_arcmin(**axis, latitude_deg=latitude), rel=2e-3
    )
    half = 2 * 15.041
    ends = [
        alignment.dec_drift_arcsec_min(**axis, hour_angle_deg=hour + side * half, latitude_deg=latitude)
        for side in (-1, 1)
    ]
    assert abs(plan.lowest_drift_arcsec_min) == pytest.approx(np.abs(ends).min(), rel=5e-3)
    assert np.sign(plan.lowest_drift_arcsec_min) == np.sign(wanted)
    # the guided field: both axes follow, about an axis that stands off
    ahead = 1 if latitude >= 0 else -1
    place = pointing.altaz(hour_angle_deg=hour + half, dec_deg=dec, latitude_deg=latitude)
    axis_azimuth = plan.azimuth_error_arcmin / 60 if ahead > 0 else 180 - plan.azimuth_error_arcmin / 60
    spin = rotation.rotation_rate_deg_h(
        altitude_deg=place.altitude_deg, azimuth_deg=place.azimuth_deg, latitude_deg=latitude,
        axis_altitude_deg=abs(latitude) + plan.altitude_error_arcmin / 60, axis_azimuth_deg=axis_azimuth,
    )  # fmt: skip
    assert abs(spin) == pytest.approx(plan.spin_deg_h, rel=0.02)
    assert plan.turn_arcmin == pytest.approx(
        plan.pole_error_arcmin * (1 - np.cos(np.radians(half))) / np.cos(np.radians(dec)), rel=1e-3
    )


def test_one_way_drift_that_turns_round_is_told():
    """Derivation: the drift goes as the cosine of the hour from the middle, and is back after distance over speed."""
    plan = one_way.one_way_offset(
        drift_arcsec_min=1, hour_angle_deg=0, dec_deg=30, latitude_deg=52, session_h=10
    )
    assert plan.lowest_drift_arcsec_min == pytest.approx(np.cos(np.radians(5 * 15.041)), rel=5e-3)
    assert one_way.drift_back_s(overshoot_arcsec=0.5, drift_arcsec_min=[1, 2, 0]).tolist() == [30, 15, np.inf]


def test_one_way_guiding_ends_the_see_saw():
    """Derivation: with 25″ of play, a drift north and corrections south only leave less than both directions."""
    air = guiding.tilt_series_arcsec(
        times_s=T, tilt_sigma_arcsec=1.3, aperture_mm=32, wind_m_s=8, outer_scale_m=25, seed=4
    )
    how = {
        "times_s": T, "ra_arcsec": 0 * T, "air_arcsec": air, "exposure_s": 2, "dead_time_s": 1, "aggressiveness": 0.7,
        "minimum_move_arcsec": 0.2, "longest_pulse_s": 2, "guide_speed": 0.5, "dec_deg": 0, "backlash_arcsec": 25,
        "centroid_sigma_arcsec": 0.2, "seed": 5,
    }  # fmt: skip
    slow = servo.guide(dec_arcsec=2.0 * np.sin(2 * np.pi * T / 600), directions="both", **how)
    drift = servo.guide(dec_arcsec=T / 60, directions="south only", **how)
    assert drift.dec_arcsec[6000:].std() < 0.7 * slow.dec_arcsec[6000:].std()


def test_shapes_and_other_errors():
    assert_broadcasts(flexure.flexure_trail_px, flexure_arcsec_min=1, sub_s=60, scale_arcsec_px=2)
    assert_broadcasts(flexure.longest_sub_s, flexure_arcsec_min=1, tolerance_px=1, scale_arcsec_px=2)
    assert_broadcasts(one_way.drift_back_s, overshoot_arcsec=1, drift_arcsec_min=2)
    assert_broadcasts(
        lambda **k: stars.guide_star_chance(stars=2, **k), width_deg=1, height_deg=0.7, star_count_deg2=3
    )
    assert_broadcasts(
        stars.several_stars_sigma_arcsec,
        stars=4,
        centroid_sigma_arcsec=0.3,
        tilt_sigma_arcsec=0.4,
        tilt_correlation=0.5,
    )
    assert_broadcasts(stars.faintest_star_mag, **GUIDE)
    field = {"width_deg": 1, "height_deg": 1, "star_count_deg2": 2}
    for bad in (0, 1.5, True):
        with pytest.raises(ValueError, match="stars must be a whole number of at least 1"):
            stars.guide_star_chance(**field, stars=bad)
    with pytest.raises(ValueError, match="width_deg must be above 0 °"):
        stars.guide_star_chance(**field | {"width_deg": 0}, stars=1)
    with pytest.raises(ValueError, match=r"tilt_correlation must be -0\.2 to 1"):
        stars.several_stars_sigma_arcsec(
            stars=2, centroid_sigma_arcsec=1, tilt_sigma_arcsec=1, tilt_correlation=2
        )
    with pytest.raises(ValueError, match=r"five or more frames are needed .* received 3"):
        flexure.fit_flexure(times_s=[0, 1, 2], ra_arcsec=[0, 1, 2], dec_arcsec=[0, 1, 2])
    with pytest.raises(ValueError, match="dec_deg must be -85 to 85 °, received 89 °: near the pole"):
        one_way.one_way_offset(drift_arcsec_min=1, hour_angle_deg=0, dec_deg=89, latitude_deg=50, session_h=4)
    with pytest.raises(ValueError, match="scale_arcsec_px must be above 0"):
        flexure.longest_sub_s(flexure_arcsec_min=1, tolerance_px=1, scale_arcsec_px=0)
