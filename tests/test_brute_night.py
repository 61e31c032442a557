"""The brute-force night against cases whose answer is known without it."""

import math

import astropy.units as u
import brute_night as brute
import numpy as np
import pytest
from astropy.coordinates import AltAz, EarthLocation, SkyCoord
from astropy.time import Time
from brute_night import ARCSEC, OMEGA_RAD_S, UP, Paths, geometry, simulate, within
from support import rows

SKY, LIGHT = rows("geometry.csv"), rows("light.csv")
PLACE = {"ra_deg": 339.267, "dec_deg": 34.416, "latitude_deg": 52.4, "longitude_deg": 10.5, "height_m": 60.0}
BALCONY = {
    "horizon_deg": [[0, 90], [95, 90], [95, 20], [215, 20], [215, 90], [360, 90]],
    **(PLACE | {"date": "2026-10-10", "ceiling_deg": 68.0}),
}
OPEN = {**BALCONY, "horizon_deg": [[0, 60], [360, 60]], "ceiling_deg": 90.0}  # hardly any refraction drift
NUMBERS = """
optics aperture_mm=58.0 focal_mm=320.0 throughput=0.45
camera width_px=4000.0 height_px=2800.0 pixel_um=3.5 read_noise_e=1.6 dark_e_s_px=0.1
camera dark_reference_degc=20.0 dark_doubling_k=6.0 warm_up_k=7.0 warm_up_min=30.0 overhead_s=3.0
camera dither_overhead_s=9.0 dither_every=4.0
guide aperture_mm=32.0 focal_mm=140.0 pixel_um=4.0 read_noise_e=3.0 throughput=0.5 flexure_arcsec_min=0.15
guide lag_s=2.5 noise_arcsec=0.5 star_offset_deg=0.4 star_direction_deg=40.0
drive gear_error_arcsec=50.0 gear_period_s=420.3 altaz_highest_deg=82.0 second_harmonic_arcsec=12.0
drive second_harmonic_phase_deg=60.0 random_walk_arcsec_sqrt_s=0.3
habits tolerance_px=1.5 axis_error_drift_arcmin=6.0 axis_error_rough_arcmin=40.0
habits set_up_sun_deg=-6.0 axis_direction_deg=45.0 model_error_arcmin=8.0 set_up_altaz_min=35.0
habits set_up_tilted_min=60.0
stand stiffness_n_m_rad=500.0 wind_area_m2=0.03 wind_arm_m=0.1
power mount_w=4.0 mount_duty=1.0 mount_cells=10.0 cell_v=1.2 cell_ah=2.5 computer_w=6.0 camera_w=2.0
power guide_camera_w=1.0 heater_w=2.0 heater_duty=0.5 heater_lift_k_w=3.0 light_w=0.5 pack_wh=96.0
power pack_usable=0.9 pack_cold=0.9 converter=0.92
night lens_cooling_k=2.0 extinction_mag=0.25 air_start_degc=8.0 air_end_degc=3.0 humidity_start=0.75
night humidity_end=0.9 wind_m_s=2.0 gust_m_s=6.0 gusts_per_h=8.0 gust_s=5.0
site sky_mag_arcsec2=18.6
"""
RIG = {"habits.alignment": "drift"} | {
    f"{line.split()[0]}.{pair.split('=')[0]}": float(pair.split("=")[1])
    for line in NUMBERS.split("\n")
    for pair in line.split()[1:]
}
FAULTS = """drive.gear_error_arcsec drive.second_harmonic_arcsec drive.random_walk_arcsec_sqrt_s
guide.flexure_arcsec_min guide.noise_arcsec habits.axis_error_drift_arcmin habits.model_error_arcmin
night.gusts_per_h"""
PERFECT = RIG | dict.fromkeys(FAULTS.split(), 0.0)
TOLERANCE = 1.5 * 206.265 * 3.5 / 320


def _at(az_deg, alt_deg):
    az, alt = np.radians([az_deg, alt_deg])
    return np.array([[np.sin(az) * np.cos(alt), np.cos(az) * np.cos(alt), np.sin(alt)]])


def _paths(s, *, mode, guided, latitude_deg, error_arcmin=0.0, direction_deg=0.0, span_s=1.0):
    """Paths over a short span without refraction, and the rates per second of their four columns."""
    pole, axis = brute.pole_and_axis(latitude_deg, error_arcmin, direction_deg)
    tau, flat = np.linspace(-span_s / 2, span_s / 2, 3), (np.array([-90.0, 90.0]), np.zeros(2))
    _, path = brute.sky_paths(PERFECT, s, tau, mode=mode, guided=guided, pole=pole, axis=axis, table=flat)
    return pole, axis, [(a[:, -1] - a[:, 0]) / span_s for a in path]


@pytest.mark.parametrize("guided", [False, True])
def test_a_perfect_rig_keeps_every_sub(guided):
    """No error is left but refraction, which moves the star by far less than the tolerance in 8 s."""
    night = simulate(PERFECT, **BALCONY, mode="tilted", guided=guided, sub_s=8, seed=1)
    assert night.subs > 200
    assert night.kept_subs == night.subs
    assert night.kept_h == pytest.approx(night.subs * 8 / 3600)


def _flexure_kept(limit_arcsec, more):
    """Shares kept when flexure moves the star by 0.999 and by 1.001 of a limit in 30 s."""
    rates = [factor * 60 * limit_arcsec / 30 for factor in (0.999, 1.001)]
    rigs = [PERFECT | more | {"guide.flexure_arcsec_min": rate} for rate in rates]
    nights = [simulate(rig, **BALCONY, mode="tilted", guided=True, sub_s=30, seed=1) for rig in rigs]
    return [night.kept_subs / night.subs for night in nights]


def test_a_drift_is_kept_up_to_the_tolerance_and_no_further():
    """Flexure as the only motion: d″/s is kept while d·t ≤ tolerance; 0.1 % on either side decides."""
    assert _flexure_kept(TOLERANCE, {}) == [1.0, 0.0]


def test_guiding_noise_narrows_the_limit_by_the_sum_of_squares():
    """A uniform smear of full width L has the variance L²/12, so that the limit is √(tol² − 12 σ²)."""
    limit = np.sqrt(TOLERANCE**2 - 12 * 0.8**2)
    assert _flexure_kept(limit, {"guide.noise_arcsec": 0.8}) == [1.0, 0.0]


def _sine_range(lo, hi):
    """Range of the sine over [lo, hi] from its ends and the crests and troughs between them."""
    ends = np.sin([lo, hi])
    crest = np.floor((hi - np.pi / 2) / (2 * np.pi)) > np.floor((lo - np.pi / 2) / (2 * np.pi))
    trough = np.floor((hi + np.pi / 2) / (2 * np.pi)) > np.floor((lo + np.pi / 2) / (2 * np.pi))
    return np.where(crest, 1.0, ends.max(axis=0)) - np.where(trough, -1.0, ends.min(axis=0))


@pytest.mark.parametrize("sub_s", [20.0, 90.0])
def test_one_sine_gear_against_the_closed_range_of_a_sine(sub_s):
    """Each phase decides as the closed form does, but for the 0.1 % that 0.5 s samples cannot tell."""
    phase = np.linspace(0, 2 * np.pi, 5000)
    tau = np.linspace(0, sub_s, 201)
    omega = 2 * np.pi / 420.3
    rig = PERFECT | {"drive.gear_error_arcsec": 50.0}
    x = brute.gear_error(rig, phase[:, None] + omega * tau, omega, False)
    zero = np.zeros_like(x)
    exact = 25 * _sine_range(phase, phase + omega * sub_s)
    limit = np.median(exact)
    kept = within(Paths(x, zero, zero, zero), [(0.0, 0.0)], limit)
    clear = np.abs(exact / limit - 1) > 1e-3
    np.testing.assert_array_equal(kept[clear], (exact <= limit)[clear])
    assert clear.mean() > 0.95


def test_the_share_a_sine_gear_leaves_of_a_night():
    """With no crest in the window the range is A sin(ωt/2)|cos μ|, kept (2/π) arcsin(tol/(A cos δ sin ωt/2)).

    Turns of the gear that a night cuts off and refraction at 60° leave 0.012 of the share.
    """
    rig = PERFECT | {"drive.gear_error_arcsec": 50.0}
    night = simulate(rig, **OPEN, mode="tilted", guided=False, sub_s=20, seed=3, nights=20)
    half = np.pi * 20 / 420.3
    expected = 2 / np.pi * np.arcsin(TOLERANCE / (50 * np.cos(np.radians(34.55)) * np.sin(half)))
    assert 50 * np.sin(half) ** 2 < TOLERANCE
    assert night.kept_subs / night.subs == pytest.approx(expected, abs=0.012)


def test_guiding_shrinks_each_harmonic_by_its_lag_and_turns_it_by_90_degrees():
    """What is left is lag times the slope of the error, here taken by a difference; 1e-6 of the amplitude."""
    phase, omega, h = np.linspace(0, 6, 50), 2 * np.pi / 420.3, 1e-3
    later, sooner = (brute.gear_error(RIG, phase + sign * omega * h, omega, False) for sign in (1, -1))
    left = brute.gear_error(RIG, phase, omega, True)
    np.testing.assert_allclose(left, 2.5 * (later - sooner) / (2 * h), atol=3e-5)


def test_gusts_leave_what_poisson_leaves():
    """Share left = exp(−rate · P(gust is strong) · (t + gust time)); 4σ of the count of subs."""
    rig = PERFECT | {"night.gusts_per_h": 60.0}
    night = simulate(rig, **OPEN, mode="tilted", guided=False, sub_s=8, seed=5, nights=30)
    strong2 = 2.0**2 + TOLERANCE / ARCSEC * 500 / (0.5 * 1.225 * 1.2 * 0.03 * 0.1)
    rate = 60 / 3600 * (6 - np.sqrt(strong2)) / (6 - 2)
    left = np.exp(-rate * (8 + 5))
    sigma = np.sqrt(2 * left * (1 - left) / (30 * night.subs))  # 2: a gust can spoil two subs in a row
    assert night.kept_subs / night.subs == pytest.approx(left, abs=4 * sigma)


ROTATIONS = [("a", 45, 180, 45), ("b", 50, 135, 40), ("c", 50, 90, 35), ("d", 50, 350, 70), ("e", -33, 0, 60)]


@pytest.mark.parametrize(("row", "latitude", "az", "alt"), ROTATIONS)
def test_field_rotation_of_an_alt_azimuth(row, latitude, az, alt):
    """Rows ALT-01a–e and −Ω cosφ cosA/cos a, as the motion of a corner: c moves by spin · (s × c)."""
    s = _at(az, alt)
    *_, (_, _, _, turn) = _paths(s, mode="alt-az", guided=False, latitude_deg=latitude)
    ex, ey = brute.frame_about(UP, s, "alt-az")
    spin = -OMEGA_RAD_S * np.cos(np.radians(latitude)) * np.cos(np.radians(az)) / np.cos(np.radians(alt))
    wanted = spin * np.sum(np.cross(s, ex) * ey)  # how fast the end of x moves towards y
    assert turn[0] == pytest.approx(wanted, abs=1e-9)
    expected = SKY[f"ALT-01{row}"]
    assert np.degrees(spin) * 3600 == pytest.approx(expected["expected"], abs=expected["tolerance"])


@pytest.mark.parametrize("latitude", [50.0, -33.0])
@pytest.mark.parametrize("direction", [0.0, 90.0, 200.0])
def test_drift_and_turn_of_a_misplaced_axis(latitude, direction):
    """Ω (m − p) × s, unguided turn Ω (m − p)·s, guided turn −Ω (p·n)/(s·n); second order in 6′ is 0.2 %."""
    s = np.concatenate([_at(az, alt) for az, alt in ((120, 40), (200, 65), (300, 30), (20, 25))])
    for guided in (False, True):
        more = {"latitude_deg": latitude, "error_arcmin": 6, "direction_deg": direction}
        pole, axis, (x, y, _, turn) = _paths(s, mode="tilted", guided=guided, **more)
        ex, ey = brute.frame_about(pole, s, "tilted")
        drift = ARCSEC * OMEGA_RAD_S * np.cross(axis - pole, s)
        size = OMEGA_RAD_S * 6 / 60 * np.pi / 180
        n = s - (s @ axis)[:, None] * axis
        spin = (
            OMEGA_RAD_S * s @ (axis - pole) if not guided else -OMEGA_RAD_S * n @ pole / np.sum(s * n, axis=1)
        )
        np.testing.assert_allclose(turn, spin, atol=0.005 * size)
        if not guided:
            np.testing.assert_allclose(x, np.sum(drift * ex, axis=1), atol=0.005 * size * ARCSEC)
            np.testing.assert_allclose(y, np.sum(drift * ey, axis=1), atol=0.005 * size * ARCSEC)


@pytest.mark.parametrize(("latitude", "az", "sign"), [(50, 180, 1), (-50, 0, -1)])
def test_an_axis_too_far_east_lets_the_star_drift_from_the_elevated_pole(latitude, az, sign):
    """Row POL-03, and its mirror image in the south: 5′ of azimuth are 5′ cos 50° on the sky; 0.0006″/min."""
    more = {"latitude_deg": latitude, "error_arcmin": 5 * np.cos(np.radians(50))}
    _, _, (_, y, _, _) = _paths(_at(az, 40), mode="tilted", guided=False, **more)
    assert 60 * y[0] == pytest.approx(sign * SKY["POL-03"]["expected"], abs=2 * SKY["POL-03"]["tolerance"])


def test_a_path_that_undoes_the_turn_stays_put():
    """The corner as a complex number, turned by e^(iψ), and a centre path that runs against it."""
    corner, psi = 3000 + 4000j, np.linspace(0, 0.01, 30)[None]
    move = corner * np.exp(1j * psi) - corner
    path = Paths(-move.real, -move.imag, np.cos(psi) - 1, np.sin(psi))
    assert within(path, [(3000, 4000)], 1e-8).all()
    assert not within(path, [(4000, 3000)], 1.0).any()


@pytest.mark.parametrize("mode", ["alt-az", "tilted"])
def test_refraction_moves_a_rising_star_down(mode):
    """Row REF-06's form A tan z + B tan³ z differenced by hand (58″/sin² a · da, 3 %), along the vertical."""
    pole, _ = brute.pole_and_axis(50, 0, 0)
    s, table = _at(110, 35), brute.refraction_table(0)
    tau, keys = np.linspace(-30, 30, 3), {"mode": mode, "guided": False, "pole": pole, "axis": pole}
    _, path = brute.sky_paths(PERFECT, s, tau, table=table, **keys)
    ex, ey = brute.frame_about(UP if mode == "alt-az" else pole, s, mode)
    moved = (path.x[0, -1] - path.x[0, 0]) * ex[0] + (path.y[0, -1] - path.y[0, 0]) * ey[0]
    rise = OMEGA_RAD_S * 60 * np.cos(np.radians(50)) * np.sin(np.radians(110))
    up = brute.frame_about(UP, s, "alt-az")[1][0]
    np.testing.assert_allclose(moved, -57.5 * rise / np.sin(np.radians(35)) ** 2 * up, atol=0.02)


def _open_sky():
    """Altitude, azimuth [rad] each minute of darkness after the set-up, above the mask of OPEN."""
    geo = geometry(**PLACE, date="2026-10-10")
    begin = np.interp(6.0, -geo.sun_alt_deg[:600], geo.minute[:600]) + 60
    good = (geo.sun_alt_deg < -18) & (geo.minute >= begin) & (geo.target[:, 2] > np.sin(np.radians(59.99)))
    east, north, up = geo.target[good].T
    return np.arcsin(up), np.arctan2(east, north)


@pytest.mark.parametrize(("guided", "sub_s"), [(False, 5.0), (True, 5.0)])
def test_the_turn_alone_in_a_night(guided, sub_s):
    """Kept while the farthest corner's chord is short: its distance from the centre or the guide star.

    One minute in the 2 h or so of each limit, and 0.03″ of refraction unguided: 0.03 of the share.
    """
    rig = PERFECT | {"habits.set_up_altaz_min": 60.0, "drive.altaz_highest_deg": 90.0}
    night = simulate(rig, **OPEN, mode="alt-az", guided=guided, sub_s=sub_s, seed=1, nights=2)
    alt, az = _open_sky()
    spin = OMEGA_RAD_S * np.cos(np.radians(52.4)) * np.cos(az) / np.cos(alt)
    half = np.array([2000, 1400]) * TOLERANCE / 1.5
    star = 1440 * np.array([np.cos(np.radians(40)), np.sin(np.radians(40))]) if guided else np.zeros(2)
    share = np.mean(np.hypot(*(half + star)) * np.abs(spin) * sub_s < TOLERANCE)
    assert 0.15 < share < 0.85
    assert night.kept_subs / night.subs == pytest.approx(share, abs=0.03)


@pytest.mark.parametrize(("guided", "gear_arcsec"), [(False, 110.0), (True, 1300.0)])
def test_both_gears_of_an_alt_azimuth_in_a_night(guided, gear_arcsec):
    """Short windows of independent sines, slopes A/2 · ω · t · |cos|, with the textbook rates of the axes.

    A sensor of two pixels has no turn. 4σ of the mean over nights; frozen gears would scatter by over 0.3.
    """
    small = {"camera.width_px": 2.0, "camera.height_px": 2.0, "guide.star_offset_deg": 0.0}
    gear = {"drive.gear_error_arcsec": gear_arcsec, "drive.altaz_highest_deg": 90.0}
    rig = PERFECT | small | gear | {"habits.set_up_altaz_min": 60.0}
    keys = {"mode": "alt-az", "guided": guided, "sub_s": 8.0}
    shares = [(n := simulate(rig, **OPEN, **keys, seed=i)).kept_subs / n.subs for i in range(40)]
    alt, az = _open_sky()
    lat, phase = np.radians(52.4), np.random.default_rng(0).uniform(0, 2 * np.pi, (2, 400, len(alt)))
    rates = np.abs([np.sin(lat) - np.cos(lat) * np.cos(az) * np.tan(alt), np.cos(lat) * np.sin(az)])
    omega = 2 * np.pi / 420.3 * rates
    left = np.minimum(1, 2.5 * omega) if guided else 1.0
    slope = gear_arcsec * left * omega * np.array([np.cos(alt), np.ones(len(alt))])
    reach = slope[:, None] * 8 / 2 * np.abs(np.cos(phase))
    share = np.mean(np.hypot(*reach) <= TOLERANCE)
    assert 0.2 < share < 0.9
    assert np.std(shares) < 0.15
    assert np.mean(shares) == pytest.approx(share, abs=4 * np.std(shares) / np.sqrt(40) + 0.01)


def test_a_random_walk_in_a_night():
    """Feller 1951: P(range > r σ√t) = 4 Σ (−1)^(k−1) k erfc(k r/√2); 3σ of 12,000 subs."""
    rig = PERFECT | {"drive.random_walk_arcsec_sqrt_s": 2.0, "habits.tolerance_px": 3.3}
    night = simulate(rig, **OPEN, mode="tilted", guided=False, sub_s=8, seed=2, nights=10)
    r = 3.3 / 1.5 * TOLERANCE / (2.0 * np.sqrt(8) * np.cos(np.radians(34.55)))
    over = 4 * sum((-1) ** (k - 1) * k * math.erfc(k * r / np.sqrt(2)) for k in range(1, 30))
    assert night.kept_subs / night.subs == pytest.approx(1 - over, abs=0.014)


def test_finished_hours_of_a_night():
    """Without extinction a sky of 21.5 mag is b_ref · X; a sub's worth from the minutes' altitudes; 1 %."""
    rig = PERFECT | {"night.extinction_mag": 0.0, "site.sky_mag_arcsec2": 21.5, "camera.warm_up_k": 0.0}
    rig |= {"night.air_end_degc": 8.0}
    night = simulate(rig, **OPEN, mode="tilted", guided=True, sub_s=30, seed=1, nights=3)
    scale = TOLERANCE / 1.5
    reference = 8.794e9 * 10 ** (-0.4 * 21.5) * np.pi * 0.029**2 * 0.45 * scale**2
    sky = reference / np.sqrt(1 - 0.96 * np.cos(_open_sky()[0]) ** 2)
    worth = np.mean(reference / (sky + 0.1 / 2**2 + 1.6**2 / 30))
    assert night.finished_h / night.kept_h == pytest.approx(worth, rel=0.01)


def test_the_range_of_a_random_walk_at_coarse_steps():
    """Feller 1951 (Ann. Math. Stat. 22, 427): mean range σ √(8 t/π); 20 bare steps would fall 16 % short."""
    rng = np.random.default_rng(2)
    hops = rng.standard_normal((20_000, 20)) * np.sqrt(0.4)
    x = np.concatenate([np.zeros((20_000, 1)), np.cumsum(hops, axis=1)], axis=1)
    zero, walk2 = np.zeros_like(x), np.array([np.ones(20_000), np.zeros(20_000)])
    bridges = 2 * 0.4 * rng.standard_exponential((20_000, 20))
    width = brute._widths(Paths(x, zero, zero, zero), (0.0, 0.0), [0.0, 3.1], walk2, bridges)
    assert width.mean() == pytest.approx(np.sqrt(8 * 8 / np.pi), rel=0.01)  # 4σ of the mean is 0.9 %


def test_largest_extent_against_all_pairs():
    """Half the paths must be kept at their median diameter; 128 directions miss under 1e-4 of it."""
    rng = np.random.default_rng(4)
    x, y = rng.standard_normal((2, 300, 15))
    zero = np.zeros_like(x)
    pairs = np.hypot(x[:, :, None] - x[:, None], y[:, :, None] - y[:, None]).max(axis=(1, 2))
    limit = np.median(pairs)
    kept = within(Paths(x, y, zero, zero), [(0.0, 0.0)], limit)
    clear = np.abs(pairs / limit - 1) > 1e-4
    np.testing.assert_array_equal(kept[clear], (pairs < limit)[clear])
    assert within(Paths(x, y, zero, zero), [(0.0, 0.0)], -1.0).sum() == 0


def test_the_sky_of_astropy_turns_as_the_rotation_does():
    """One minute of the table is one rigid turn about the pole; 0.5″ for aberration and polar motion."""
    geo = geometry(**PLACE, date="2026-10-10")
    pole, _ = brute.pole_and_axis(52.4, 0, 0)
    turned = geo.target[:-1] @ brute.rotation(pole, np.array([-OMEGA_RAD_S * 60]))[0].T
    assert ARCSEC * np.abs(turned - geo.target[1:]).max() < 0.5
    assert np.abs(np.diff(geo.target, axis=0)).max() * ARCSEC > 500  # or the line above would prove nothing


def test_new_moon_and_darkness_of_the_demo_night():
    """New Moon falls on 2026-10-10 (recalled): phase angle near 180°; midnight Sun at −(90 − φ − δ)°."""
    geo = geometry(**PLACE, date="2026-10-10")
    assert geo.moon_phase_angle_deg[:400].min() > 173
    assert geo.sun_alt_deg.min() == pytest.approx(-(90 - 52.4 + 6.9), abs=0.4)


def test_refraction_against_the_apparent_place_of_astropy():
    """The same constants iterated inside ERFA; 0.1″ above 20°."""
    pressure = 1013.25 * (1 - 2.25577e-5 * 60) ** 5.25588
    place, time = EarthLocation.from_geodetic(10.5, 52.4, 60), Time("2024-10-10T20:00:00")
    true = AltAz(obstime=time, location=place)
    air = {"pressure": pressure * u.hPa, "temperature": 10 * u.deg_C, "relative_humidity": 0.5}
    seen = AltAz(obstime=time, location=place, obswl=0.55 * u.micron, **air)
    alt = np.array([20.0, 35.0, 50.0, 80.0])
    star = SkyCoord(az=[150, 180, 200, 90] * u.deg, alt=alt * u.deg, frame=true).transform_to(seen)
    lift = np.interp(alt, *brute.refraction_table(60))
    np.testing.assert_allclose(3600 * lift, 3600 * (star.alt.deg - alt), atol=0.1)


def test_moonlight():
    """Rows MOO-05 and MOO-12, and none with the Moon down."""
    row = LIGHT["MOO-05"]
    assert brute.moon_nl(30, 60, 45, 30, 0.172) == pytest.approx(row["expected"], abs=row["tolerance"])
    assert brute.moon_nl(30, 60, 90.5, 30, 0.172) == 0


def test_sky_of_the_zenith_and_airmass():
    """At the zenith the site's own rate (18.6 against 21.5 mag: 10^(0.4·2.9)), airmass 1 to 1e-4."""
    geo = geometry(**PLACE, date="2026-10-10")
    rig = RIG | {"camera.warm_up_k": 6.0}
    minutes = (np.array([700.0, 700.0]), np.array([90.0, 90.0]), np.array([20.0, 8.0]), np.array([0.0, 1e6]))
    sky, dark, reference, weight = brute.sub_rates(rig, geo, *minutes)
    np.testing.assert_allclose(sky / reference, 10 ** (0.4 * 2.9), rtol=1e-9)
    np.testing.assert_allclose(dark, [0.1, 0.05], rtol=1e-9)  # 20 °C; 8 + 6 °C is one halving
    np.testing.assert_allclose(weight, 10**-0.2, rtol=1e-4)
    photons = 8.794e9 * 10 ** (-0.4 * 21.5) * np.pi * 0.029**2 * 0.45 * (TOLERANCE / 1.5) ** 2
    assert reference == pytest.approx(photons)


def test_dew_and_frost():
    """Sonntag 1990: 10 °C, 70 %: dew 4.78 °C; −5 °C, 80 %: frost −7.01, dew −7.92 °C; agreed to 0.04 K."""
    np.testing.assert_array_equal(brute.dry(10.0, 0.7, np.array([4.74, 4.81])), [False, True])
    np.testing.assert_array_equal(brute.dry(-5.0, 0.8, np.array([-7.05, -6.98])), [False, True])


def test_what_ends_a_night():
    """Mask, ceiling, set-up, pack, cells, dew and the highest altitude each take their minutes."""
    geo = geometry(**PLACE, date="2026-10-10")
    view, dark, minute = ([[0, 0], [360, 0]], 90.0), (380.0, 1000.0), np.arange(360.0, 1000.0)
    s = geo.target[360:1000]

    def count(mode="tilted", view=view, **more):
        rig = RIG | {"power.pack_wh": 1000.0, "power.mount_cells": 100.0}
        rig |= {key.replace("__", "."): value for key, value in more.items()}
        return int(brute.usable_minutes(rig, geo, minute, s, view, mode, False, dark)[0].sum())

    everything = count()
    alt = np.degrees(np.arcsin(s[:, 2]))
    begin = np.interp(6.0, -geo.sun_alt_deg[:600], geo.minute[:600])
    assert everything == np.sum((minute >= begin + 60) & (alt > -0.6))
    assert count(habits__set_up_tilted_min=160.0) == everything - (np.ceil(begin + 160) - np.ceil(begin + 60))
    assert count(power__pack_wh=2 * 9.5 / (0.81 * 0.92)) == np.floor(begin + 120) - np.ceil(begin + 60) + 1
    assert count(power__mount_cells=8 / (3 * 0.81)) == np.floor(begin + 120) - np.ceil(begin + 60) + 1
    assert count(night__lens_cooling_k=20.0) == 0
    high = np.sum((minute >= begin + 35) & (alt <= 60) & (alt > -0.6))
    assert count("alt-az", drive__altaz_highest_deg=60.0) == high
    low = np.sum((minute >= begin + 60) & (alt + 0.009 < 60) & (alt > 30))
    assert count(view=([[0, 30.03], [360, 30.03]], 60.0)) == pytest.approx(low, abs=1)


def test_more_nights_only_average():
    """The same seed gives the same night; twenty nights lie within the scatter of one."""
    once = [simulate(RIG, **BALCONY, mode="tilted", guided=False, sub_s=8, seed=i).kept_h for i in range(20)]
    many = simulate(RIG, **BALCONY, mode="tilted", guided=False, sub_s=8, seed=99, nights=20)
    assert once[3] == simulate(RIG, **BALCONY, mode="tilted", guided=False, sub_s=8, seed=3).kept_h
    assert np.std(once) > 0
    assert many.kept_h == pytest.approx(np.mean(once), abs=4 * np.std(once, ddof=1) * np.sqrt(2 / 20))
