"""Paths, places, patches and whole frames, against astropy's world coordinates, galsim and the CCD equation."""

import galsim
import numpy as np
import pytest
from astropy.wcs import WCS
from photutils.aperture import CircularAperture, aperture_photometry
from scipy import integrate

from workbook import catalogue, frames
from workbook.frames import placing

RIG = {"read_noise_e": 1.6, "gain_e_adu": 0.8, "offset_adu": 500, "full_well_e": 13000, "adc_bits": 14}


def sensor(width_px=300, height_px=200, **change):
    return frames.Sensor(width_px=width_px, height_px=height_px, **RIG | change)


# Places


@pytest.mark.parametrize("position_angle_deg", [0.0, 37.0, 180.0, -100.0])
@pytest.mark.parametrize(("ra_deg", "dec_deg"), [(10.7, 41.3), (0.1, -60.0), (200.0, 89.7)])
def test_places_by_astropy(position_angle_deg, ra_deg, dec_deg):
    """Source: astropy's world coordinates from the FITS keywords of the same pointing; 1e-6 px is rounding."""
    pointing = frames.Pointing(ra_deg, dec_deg, 2.256, position_angle_deg, 1999.5, 1399.5)
    world = WCS(pointing.world_coordinates())
    rng = np.random.default_rng(3)
    x, y = rng.uniform(0, 4000, 200), rng.uniform(0, 2800, 200)
    ra, dec = world.all_pix2world(x, y, 0)
    places = frames.sensor_places_px(ra_deg=ra, dec_deg=dec, pointing=pointing)
    np.testing.assert_allclose(places, [x, y], rtol=0, atol=1e-6)
    back = placing.sky_places_deg(x_px=x, y_px=y, pointing=pointing)
    np.testing.assert_allclose(np.cos(np.radians(back.ra_deg - ra)), 1, rtol=0, atol=1e-12)
    np.testing.assert_allclose(back.dec_deg, dec, rtol=0, atol=1e-10)


def test_north_is_up_and_east_is_left():
    """Derivation: as one sees the sky; at position angle 90° the rows go up to the east, and north is right."""
    for angle, north, east in ((0, (0, 100), (-100, 0)), (90, (100, 0), (0, 100))):
        pointing = frames.Pointing(50.0, 0.0, 3.6, angle, 0.0, 0.0)
        seen = frames.sensor_places_px(ra_deg=50.0, dec_deg=0.1, pointing=pointing)
        np.testing.assert_allclose(seen, north, atol=1e-3)
        seen = frames.sensor_places_px(ra_deg=50.1, dec_deg=0.0, pointing=pointing)
        np.testing.assert_allclose(seen, east, atol=1e-3)
    with pytest.raises(ValueError, match="scale_arcsec_px must be above 0 ″/px"):
        frames.Pointing(50.0, 0.0, 0.0, 0.0, 0.0, 0.0)


# Paths


def test_paths_by_complex_numbers():
    """Derivation: a turn of the plane is a product with e^(iθ)."""
    rng = np.random.default_rng(6)
    x, y = rng.uniform(0, 4000, (2, 50))
    turn, shift_x, shift_y = rng.normal(0, 2, (3, 7))
    paths = frames.star_paths_px(
        x_px=x,
        y_px=y,
        shift_x_px=shift_x,
        shift_y_px=shift_y,
        turn_deg=turn,
        centre_x_px=900.0,
        centre_y_px=-1200.0,
    )
    assert paths.x_px.shape == (50, 7)
    centre = 900 - 1200j
    theirs = centre + (x + 1j * y - centre)[:, None] * np.exp(1j * np.radians(turn)) + shift_x + 1j * shift_y
    np.testing.assert_allclose(paths.x_px + 1j * paths.y_px, theirs, rtol=1e-12)


def test_still_and_turning_only():
    """Derivation: without a turn every star makes the same path; the centre of the turn stands still."""
    still = frames.star_paths_px(
        x_px=[5, 9], y_px=[1, 2], shift_x_px=[0, 1, 2], shift_y_px=0, turn_deg=0, centre_x_px=0, centre_y_px=0
    )
    np.testing.assert_allclose(still.x_px, [[5, 6, 7], [9, 10, 11]])
    np.testing.assert_allclose(np.broadcast_to(still.y_px, (2, 3)), [[1, 1, 1], [2, 2, 2]])
    turning = frames.star_paths_px(
        x_px=[100.0],
        y_px=[50.0],
        shift_x_px=0,
        shift_y_px=0,
        turn_deg=[0, 45, 300],
        centre_x_px=100,
        centre_y_px=50,
    )
    np.testing.assert_allclose(turning, [[[100, 100, 100]], [[50, 50, 50]]])


def test_motions_of_the_mount():
    """Derivation: drift from end to end; a sine of half the peak-to-peak; jitter of the given spread."""
    times = frames.sample_times_s(exposure_s=600, samples=2000)
    np.testing.assert_allclose([times[0], times[-1], times.mean()], [0.15, 599.85, 300])
    known = {
        "times_s": times,
        "drift_x_px": 0.0,
        "drift_y_px": 0.0,
        "peak_to_peak_px": 0.0,
        "period_s": 120.0,
        "phase_deg": 0.0,
        "direction_deg": 0.0,
        "jitter_px": 0.0,
        "seed": 1,
    }
    drift = frames.mount_shift_px(**known | {"drift_x_px": 3.0, "drift_y_px": -2.0})
    np.testing.assert_allclose([np.ptp(drift.x_px), drift.y_px[-1]], [3, -2])
    np.testing.assert_allclose(np.diff(drift.x_px), 3 / 1999)
    gear = frames.mount_shift_px(**known | {"peak_to_peak_px": 8.0, "phase_deg": 90.0, "direction_deg": 30.0})
    size = np.hypot(gear.x_px, gear.y_px)
    np.testing.assert_allclose([size.max(), np.sqrt(np.mean(size**2))], [4, 4 / np.sqrt(2)], rtol=1e-4)
    np.testing.assert_allclose(gear.y_px, np.tan(np.radians(30)) * gear.x_px, atol=1e-12)
    assert gear.x_px[0] == pytest.approx(4 * np.cos(np.radians(30)), rel=1e-3)
    spectrum = np.abs(np.fft.rfft(gear.x_px))
    assert spectrum.argmax() == 5  # 600 s hold five periods of 120 s
    jitter = frames.mount_shift_px(**known | {"jitter_px": 0.7})
    np.testing.assert_allclose([jitter.x_px.std(), jitter.y_px.std()], 0.7, rtol=0.06)
    assert abs(np.corrcoef(jitter.x_px, jitter.y_px)[0, 1]) < 0.1
    one = frames.mount_shift_px(**known | {"times_s": [3.0], "drift_x_px": 5.0})
    assert one.x_px[0] == 0
    with pytest.raises(ValueError, match="period_s must be above 0 s"):
        frames.mount_shift_px(**known | {"period_s": 0})
    with pytest.raises(ValueError, match="samples must be above 0"):
        frames.sample_times_s(exposure_s=10, samples=0)


# Patch


def patch(**change):
    ask = {
        "width_px": 400,
        "height_px": 300,
        "x_px": 200.0,
        "y_px": 150.0,
        "major_px": 60.0,
        "minor_px": 24.0,
    }
    return frames.elliptical_patch_e_px(**ask | {"angle_deg": 25.0, "mean_e_px": 3.0} | change)


def test_patch_holds_the_light_of_its_mean_brightness():
    """Derivation: mean times area; 0.2 %: what lies beyond the drawing and the size of a pixel."""
    total = 3.0 * np.pi / 4 * 60 * 24
    assert patch().sum() == pytest.approx(total, rel=2e-3)
    assert patch(mean_e_px=6.0).sum() == pytest.approx(2 * total, rel=2e-3)
    aside = patch(x_px=-0.5)
    assert aside.sum() == pytest.approx(total / 2, rel=4e-3)
    assert patch(x_px=5000.0).max() == 0


def test_integral_of_the_patch_by_quadrature():
    """Source: scipy quadrature of the profile as written: total = mean · area whatever the core."""
    h = 1 / frames.patch.OUTLINE_SCALE_LENGTHS
    core = frames.patch.CORE_SHARE * h
    whole, _ = integrate.quad(lambda r: 2 * np.pi * r * np.exp(-(np.hypot(r, core) - core) / h), 0, np.inf)
    middle = float(patch(x_px=200.0, y_px=150.0)[150, 200]) / 3.0
    assert middle * whole / np.pi == pytest.approx(1.0, rel=1e-5)


def test_patch_by_galsim():
    """Source: galsim's exponential disc, sheared by its own Jacobian, away from the rounded core; 3 %.

    The rounded core takes light from the middle and leaves the wing brighter by e^0.2 / 1.2.
    """
    h = 30 / 3.085
    disc = galsim.Exponential(scale_radius=1.0, flux=3.0 * np.pi / 4 * 60 * 24).transform(
        h, 0, 0, h * 24 / 60
    )
    disc = disc.rotate(25 * galsim.degrees).shift(200 - 199.5, 150 - 149.5)
    disc = disc.withFlux(3.0 * np.pi / 4 * 60 * 24)
    theirs = disc.drawImage(nx=400, ny=300, scale=1.0, method="auto").array * np.exp(0.2) / 1.2
    ours = patch()
    turn = np.radians(25)
    y, x = np.mgrid[:300, :400] - np.array([150, 200])[:, None, None]
    long = (x * np.cos(turn) + y * np.sin(turn)) / 30
    short = (y * np.cos(turn) - x * np.sin(turn)) / 12
    ring = (np.hypot(long, short) > 0.6) & (np.hypot(long, short) < 1.6)
    assert ring.sum() > 2000
    np.testing.assert_allclose(ours[ring], theirs[ring], rtol=0.03)


def test_patch_refuses_nonsense():
    with pytest.raises(ValueError, match="minor_px must be above 0 px"):
        patch(minor_px=0.0)
    with pytest.raises(ValueError, match="mean_e_px must be 0 or more e⁻/px"):
        patch(mean_e_px=-1.0)


# Whole frames


def ask(**change):
    known = {
        "sensor": sensor(),
        "exposure_s": 30.0,
        "x_px": [150.0],
        "y_px": [100.0],
        "star_e_s": 400.0,
        "shapes": frames.round_shapes_px2(sigma_px=1.4),
        "sky_e_s_px": 2.0,
        "dark_e_s_px": 0.1,
        "seed": 2,
    }
    return frames.raw_frame(**known | change)


def test_star_in_a_frame_by_photutils():
    """Source: aperture sum by photutils; four sigmas of the CCD equation."""
    light = []
    for seed in range(20):
        electrons = (ask(seed=seed).adu.astype(float) - 500) * 0.8
        table = aperture_photometry(electrons, CircularAperture((150, 100), 8.0))
        light.append(float(table["aperture_sum"][0]) - np.pi * 64 * 30 * 2.1)
    noise = np.sqrt((12000 + np.pi * 64 * (63 + 1.6**2 + 0.64 / 12)) / 20)
    assert np.mean(light) == pytest.approx(12000, abs=4 * noise)


def test_levels_add_up():
    """Derivation: (sky + dark) t / gain + offset; noise √((sky + dark) t + RN²) and a twelfth of a count."""
    counts = ask(star_e_s=0.0).adu.astype(float)
    assert counts.mean() == pytest.approx(500 + 2.1 * 30 / 0.8, abs=0.2)
    assert counts.std() == pytest.approx(np.sqrt((2.1 * 30 + 1.6**2) / 0.64 + 1 / 12), rel=0.02)
    glow = ask(star_e_s=0.0, patch_e_s_px=np.full((200, 300), 1.5)).adu.astype(float)
    assert glow.mean() - counts.mean() == pytest.approx(1.5 * 30 / 0.8, abs=0.2)
    slope = np.linspace(1, 3, 300) * np.ones((200, 1))
    tilted = ask(star_e_s=0.0, sky_e_s_px=slope).adu.astype(float)
    assert tilted[:, -50:].mean() - tilted[:, :50].mean() == pytest.approx(30 * 250 / 299 * 2 / 0.8, rel=0.03)


def test_colours_pass_through_their_filters():
    """Derivation: sky (1, 2, 1) gives 2/3 and 4/3 of the mean; a red patch only the red pixels; dark all."""
    rig = sensor(mosaic="RGGB")
    counts = ask(
        sensor=rig,
        star_e_s=0.0,
        dark_e_s_px=1.0,
        sky_colours=(1, 2, 1),
        patch_colours=(1, 0, 0),
        patch_e_s_px=np.full((200, 300), 0.5),
    ).adu
    electrons = (counts.astype(float) - 500) * 0.8 / 30
    np.testing.assert_allclose(
        [electrons[0::2, 0::2].mean(), electrons[0::2, 1::2].mean(), electrons[1::2, 1::2].mean()],
        [1 + 2 * 2 / 3 + 4 * 0.5, 1 + 2 * 4 / 3, 1 + 2 * 2 / 3],
        atol=0.02,
    )


def test_a_field_of_the_catalogue_lands_where_it_should():
    """Source: the place of Vega in 2000 (Hipparcos) by astropy's world coordinates in the header; a pixel.

    Its core is flat at the end of the converter, so the centre of the full pixels is the star's. A pixel is
    8″, and Vega moved 5.6″ from 2000 to the catalogue's 2016.
    """
    pointing = frames.Pointing(279.5, 38.7, 8.0, 25.0, 149.5, 99.5)
    field = catalogue.stars_in_field(ra_deg=279.5, dec_deg=38.7, radius_deg=0.5, faintest_mag=13)
    places = frames.sensor_places_px(ra_deg=field.ra_deg, dec_deg=field.dec_deg, pointing=pointing)
    frame = ask(
        x_px=places.x_px,
        y_px=places.y_px,
        star_e_s=catalogue.star_electrons_s(g_mag=field.g_mag, aperture_mm=58, throughput=0.45).rate_e_s,
        pointing=pointing,
        remarks=field.remarks,
    )
    assert frame.remarks == field.remarks
    full = np.argwhere(frame.adu >= frame.saturation_adu)
    x, y = WCS(frame.world_coordinates).all_world2pix(279.23473, 38.78369, 0)
    full = full[np.hypot(full[:, 0] - y, full[:, 1] - x) < 10]
    assert len(full) > 20
    np.testing.assert_allclose(full.mean(axis=0), [y, x], atol=1.0)


def test_same_seed_same_frame():
    np.testing.assert_array_equal(ask().adu, ask().adu)
    assert (ask().adu != ask(seed=3).adu).mean() > 0.8
    frame = ask(sensor=sensor(mosaic="GBRG"))
    assert (frame.exposure_s, frame.gain_e_adu, frame.mosaic, frame.saturation_adu) == (
        30.0,
        0.8,
        "GBRG",
        16383,
    )


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"exposure_s": 0}, "exposure_s must be above 0 s"),
        ({"star_e_s": -1.0}, "star_e_s must be 0 or more e⁻/s"),
        ({"sky_e_s_px": -1.0}, "sky_e_s_px must be 0 or more e⁻/s/px"),
        ({"dark_e_s_px": -1.0}, "dark_e_s_px must be 0 or more e⁻/s/px"),
        ({"patch_e_s_px": np.full((200, 300), -1.0)}, "patch_e_s_px must be 0 or more electrons everywhere"),
        (
            {"patch_e_s_px": np.ones((20, 30))},
            r"patch_e_s_px must have the sensor's shape .* received \(20, 30\)",
        ),
    ],
)
def test_impossible_frames(change, message):
    with pytest.raises(ValueError, match=message):
        ask(**change)
