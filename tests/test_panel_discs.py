"""Lesson 13: sizes, places and rates beside Skyfield, measured pictures, limits by turning, and the Sun gate."""

from __future__ import annotations

import functools
import importlib.util
import math
from datetime import UTC, datetime, timedelta
from pathlib import Path

import nbformat
import numpy as np
import pytest
from test_lesson_answers_planted import lesson_of

from workbook import night, passport, rotation
from workbook.constants import ARCSEC_PER_RAD
from workbook.figures import discs as figure
from workbook.lesson.gates import Gate, GateClosed
from workbook.panels import build_discs, day_place
from workbook.panels import discs as panel_file
from workbook.panels.disc_picture import in_pixels

STEM = "13-moon-sun-planets"
NOTEBOOK = Path(__file__).parents[1] / "notebooks" / f"{STEM}.ipynb"
BALCONY = passport.scenario("balcony")
PLACE = {"latitude_deg": 52.4, "longitude_deg": 10.5, "height_m": 60}
TARGETS = {
    "Jupiter": ("jupiter barycenter", 71_492.0),
    "Saturn": ("saturn barycenter", 60_268.0),
    "Mars": ("mars", 3396.19),
    "Moon": ("moon", 1737.4),
}
STILL = {"phase_angle_deg": 0.0, "ring_tilt_deg": 0.0, "spin_px": 0.0, "turn_deg": 0.0}


@pytest.fixture
def panel():
    return build_discs(BALCONY)


@functools.cache
def skyfield():
    from skyfield.api import load, load_file

    folder = Path(importlib.util.find_spec("skyfield_data").submodule_search_locations[0])
    return load_file(str(folder / "data" / "de421.bsp")), load.timescale(delta_t=37 + 32.184)


@pytest.fixture(scope="module", autouse=True)
def _closed_ephemeris():
    yield
    skyfield()[0].close()


def observed(target, times):
    """Skyfield's apparent places from the balcony."""
    from skyfield.api import wgs84

    ephemeris, timescale = skyfield()
    ground = wgs84.latlon(PLACE["latitude_deg"], PLACE["longitude_deg"], PLACE["height_m"])
    site = (ephemeris["earth"] + ground).at(timescale.from_datetimes(times))
    return site.observe(ephemeris[target]).apparent()


# Sizes, places, rates


ALL_NIGHTS = [(name, evening) for name in TARGETS for evening in panel_file.NIGHTS.values()]
ALL_NIGHTS.remove(("Moon", "2026-10-10"))  # new Moon, never up in the dark


@pytest.mark.parametrize(("name", "evening"), ALL_NIGHTS)
def test_size_place_and_moment_are_skyfield_s(name, evening):
    """Source: Skyfield with DE421 and the IAU radii (Archinal et al. 2018, CMDA 130, 22).

    Sizes to 0.06 %, as `night.disc` states; places to 0.03° (Mars near the Earth 100″); no minute of the dark is higher
    by more than what ten minutes at the top or at an edge of the dark make, 1.6°.
    """
    target, radius_km = TARGETS[name]
    found = panel_file.seen(PLACE, name, evening, 0)
    time = found.time_utc.astype("M8[s]").item().replace(tzinfo=UTC)
    there = observed(target, [time])
    altitude, azimuth, distance = (
        float(part[0]) for part in (*(a.degrees for a in there.altaz()[:2]), there.altaz()[2].km)
    )
    size = 2.0 * ARCSEC_PER_RAD * math.asin(radius_km / distance)
    assert found.diameter_arcsec == pytest.approx(size, rel=6e-4)
    assert found.altitude_deg == pytest.approx(altitude, abs=0.03)
    assert found.azimuth_deg == pytest.approx(azimuth, abs=0.05)
    noon = datetime.fromisoformat(f"{evening}T11:18").replace(tzinfo=UTC)
    times = [noon + timedelta(minutes=5 * k) for k in range(288)]
    high, down = observed(target, times).altaz()[0].degrees, observed("sun", times).altaz()[0].degrees < -6.0
    assert down[np.argmin([abs(t - time) for t in times])]
    assert high[down].max() - altitude < 1.6


@pytest.mark.parametrize("moment_h", [-3, 0, 3])
@pytest.mark.parametrize("name", ["Moon", "Jupiter"])
def test_field_turns_as_the_parallactic_angle_of_skyfield_s_places(name, moment_h):
    """Derivation: the angle at the body between zenith and pole, from Skyfield's hour angle and declination, a minute
    before and after at the sidereal rate; 0.2 % for the step and the place.
    """
    found = panel_file.seen(PLACE, name, "2027-02-17", moment_h)
    time = found.time_utc.astype("M8[s]").item().replace(tzinfo=UTC)
    hour_angle, dec, _ = observed(TARGETS[name][0], [time]).hadec()
    h = hour_angle.radians[0] + np.radians(15.041067 * np.array([-60.0, 60.0]) / 3600.0)
    d, phi = dec.radians[0], math.radians(PLACE["latitude_deg"])
    q = np.degrees(np.arctan2(np.sin(h), math.tan(phi) * np.cos(d) - np.sin(d) * np.cos(h)))
    assert found.rate_deg_h == pytest.approx(30.0 * (q[1] - q[0]), rel=2e-3)


def test_jupiter_in_pixels(panel):
    """Source: Skyfield's distance and the equatorial radius 71,492 km; 206.265 × 3.5 / 320 ″/px (row SAM-01)."""
    time = panel.result.when
    assert "17 February 2027, 22:58 UTC" in time
    there = observed("jupiter barycenter", [datetime(2027, 2, 17, 22, 58, tzinfo=UTC)])
    size = 2.0 * ARCSEC_PER_RAD * math.asin(71_492.0 / float(there.altaz()[2].km[0]))
    assert panel.result.disc_px == pytest.approx(size / (206.265 * 3.5 / 320.0), rel=6e-4)
    panel.set(aperture_mm=116.0, extender=2.0)
    assert panel.result.disc_px == pytest.approx(4.0 * size / (206.265 * 3.5 / 320.0), rel=6e-4)


def test_the_ring_closes_and_opens_when_it_did():
    """Source: the Earth crossed the ring's plane on 23 March 2025, from north to south; the ring was open furthest,
    27.0°, in October 2017 (almanacs, recalled). 0.1° a week near the crossing.
    """

    def tilt(day):
        body = night.disc(name="Saturn", **PLACE, times_utc=np.datetime64(day))
        return panel_file._ring_tilt_deg(body)

    assert tilt("2025-03-23T16:00") == pytest.approx(0.0, abs=0.05)
    assert tilt("2025-02-01") > 1.0
    assert tilt("2025-06-01") < -1.0
    assert tilt("2017-10-15") == pytest.approx(27.0, abs=0.1)


# The picture


@pytest.mark.parametrize(("diameter", "side"), [(20.0, 32), (46.0, 64), (90.0, 128), (180.0, 256)])
def test_the_disc_has_its_size_and_flattening(diameter, side):
    """Derivation: the second moments of an even ellipse are a quarter of its half axes squared; a box and a blur add
    theirs. Venus when full is even; 1 % for the limb's samples. Jupiter's belts leave the outline: widths at half
    height, to half a sample. Source: Jupiter's ellipticity 0.06487 (NASA fact sheet, recalled).
    """
    seen = in_pixels(body="Venus", diameter_px=diameter, blur_px=2.0, **STILL)
    assert (seen.side_px, seen.whole) == (side, True)
    x = np.arange(side) - 0.5 * (side - 1)
    for axis in (0, 1):
        variance = np.average(x**2, weights=seen.image.sum(axis=axis))
        added = (2.0 / 2.3548) ** 2 + 1.0 / 12.0
        assert 4.0 * math.sqrt(variance - added) == pytest.approx(diameter, rel=0.01)
    jupiter = in_pixels(body="Jupiter", diameter_px=diameter, blur_px=0.5, **STILL).image
    tall = (jupiter[:, side // 2 - 1 : side // 2 + 1].mean(axis=1) > 0.25).sum()
    assert tall == pytest.approx(diameter * (1.0 - 0.06487), abs=1.6)


@pytest.mark.parametrize("phase", [0.0, 60.0, 90.0, 120.0])
def test_the_lit_share_is_that_of_the_phase(phase):
    """Source: lit fraction (1 + cos i)/2, Meeus, Astronomical Algorithms, chapter 48; 0.012 is the soft terminator."""
    full, seen = (
        in_pixels(
            body="Venus", diameter_px=100.0, blur_px=1.0, **STILL | {"phase_angle_deg": angle}
        ).image.sum()
        for angle in (0.0, phase)
    )
    assert seen / full == pytest.approx(0.5 * (1.0 + math.cos(math.radians(phase))), abs=0.012)


def test_saturn_reaches_to_its_ring():
    """Source: outer edge of ring A 136,775 km over 60,268 km (Saturn fact sheet, NASA, recalled); two pixels."""
    seen = in_pixels(body="Saturn", diameter_px=80.0, blur_px=1.0, **STILL | {"ring_tilt_deg": 20.0})
    width = (seen.image.max(axis=0) > 0.3).sum()
    assert width == pytest.approx(80.0 * 136_775 / 60_268, abs=2.0)
    height = (seen.image[:, seen.side_px // 2 - 70] > 0.2).sum()
    assert 4 < height < 40  # the ansa, open
    edge_on = in_pixels(body="Saturn", diameter_px=80.0, blur_px=1.0, **STILL)
    assert (edge_on.image[:, edge_on.side_px // 2 - 70] > 0.2).sum() <= 2


def test_spin_smears_along_the_belts_and_turning_smears_the_rim():
    """Derivation: an even shift adds s²/12 to the variance along x and nothing along y; a field that turns leaves the
    middle of the Moon and smears its rim, so the contrast far out falls.
    """
    sharp, smeared = (
        in_pixels(body="Venus", diameter_px=40.0, blur_px=2.0, **STILL | {"spin_px": spin}).image
        for spin in (0.0, 12.0)
    )
    x = np.arange(64) - 31.5
    along, across = (
        np.average(x**2, weights=smeared.sum(axis=axis)) - np.average(x**2, weights=sharp.sum(axis=axis))
        for axis in (0, 1)
    )
    assert along == pytest.approx(144.0 / 12.0, rel=0.02)
    assert across == pytest.approx(0.0, abs=0.05)
    still, turned = (
        in_pixels(
            body="Moon", diameter_px=900.0, blur_px=2.0, **STILL | {"phase_angle_deg": 40.0, "turn_deg": turn}
        )
        for turn in (0.0, 1.5)
    )
    assert not still.whole
    assert np.diff(turned.image, axis=0).std() < 0.8 * np.diff(still.image, axis=0).std()


# Limits and words


def test_at_its_limit_a_clip_smears_by_what_is_allowed(panel):
    """Derivation: rim by arc, middle by the ball's turn; blurs add as squares, and 5 % are gained at the limit."""
    seen = panel.result
    arc = math.radians(seen.rate_deg_h * seen.turn_s / 3600.0) * 0.5 * seen.diameter_arcsec
    assert abs(arc) == pytest.approx(seen.smear_arcsec, rel=1e-9)
    turn = 2.0 * math.pi * seen.spin_s / (9.0 * 3600.0 + 50.0 * 60.0 + 30.0)
    assert 0.5 * seen.diameter_arcsec * math.sin(turn) == pytest.approx(seen.smear_arcsec, rel=0.002)
    grown = math.hypot(seen.total_arcsec, 2.3548 * seen.smear_arcsec / math.sqrt(12.0))
    assert grown / seen.total_arcsec == pytest.approx(1.05, rel=1e-4)
    assert seen.longest_s == min(seen.spin_s, seen.turn_s)


def test_gears_limit_a_frame_by_their_steepest_slope(panel):
    """Derivation: π × swing / period for each harmonic of the passport, 50″ in 420.3 s and 12″ in half of that."""
    rate = math.pi * (50.0 / 420.3 + 12.0 / 210.15)
    assert panel.result.gear_s == pytest.approx(panel.result.scale_arcsec_px / rate, rel=1e-6)


def test_blur_meter_by_hand(panel):
    """Derivation: 1.029 λ/D; the mosaic's 0.375 px² and the pixel's 1/12 px²; seeing in a long exposure."""
    seen = panel.result
    assert seen.diffraction_arcsec == pytest.approx(1.029 * 550e-6 / 58.0 * ARCSEC_PER_RAD, rel=1e-4)
    assert seen.pixel_arcsec == pytest.approx(
        2.35482 * math.sqrt(0.375 + 1.0 / 12.0) * seen.scale_arcsec_px, rel=1e-5
    )
    parts = math.hypot(seen.diffraction_arcsec, seen.air_arcsec, seen.pixel_arcsec)
    assert seen.total_arcsec == pytest.approx(parts, rel=1e-6)
    assert seen.long_arcsec == pytest.approx(
        math.hypot(seen.diffraction_arcsec, 3.0, seen.pixel_arcsec), rel=1e-6
    )


def test_presets_and_verdicts(panel):
    panel.set(**panel.presets["Critical focal ratio"])
    assert panel.result.f_ratio == pytest.approx(2 * 3.5 / 0.55, rel=0.01)
    assert "Critically sampled" in panel_file.verdict(panel.result)
    panel.reset()
    assert "Coarse pixels: 2.3×" in panel_file.verdict(panel.result)
    panel.set(**panel.presets["Copied: 5× pixel, 2 min"])
    assert panel.result.f_ratio == pytest.approx(17.5, rel=0.02)
    assert "1.9 times less light" in panel_file.verdict(panel.result)
    assert "within the limit, set by spin" in panel_file.verdict(panel.result)
    assert "halo" not in panel_file.verdict(panel.result)
    panel.set(aperture_mm=200.0)
    assert panel.result.aperture_r0 == pytest.approx(
        0.200 / (0.98 * 500e-9 / (3.0 / ARCSEC_PER_RAD)), rel=1e-9
    )
    assert "halo" in panel_file.verdict(panel.result)
    panel.reset()
    panel.set(**panel.presets["The Moon, 2 min"])
    assert "6.0 times too long, by the turning field" in panel_file.verdict(panel.result)
    assert math.isinf(panel.result.spin_s)
    assert "no limit" in str(panel)


def half_width(ends):
    return 0.5 * math.log(ends[1] / ends[0])


def test_the_range_holds_the_number_and_widens_with_the_spread(panel):
    """Derivation: 68 % of a log-normal spread lie within e^±σ; 0.1 is the judged part, and the rig's own spread of
    about 1 % adds to it as a square; 6 % for 2000 draws. Poor air through a large aperture adds more.
    """
    low, high = panel.result.longest_68_s
    assert low < panel.result.longest_s < high
    assert half_width((low, high)) == pytest.approx(math.hypot(0.1, 0.01), rel=0.06)
    panel.set(aperture_mm=200.0, extender=2.3)
    assert half_width(panel.result.longest_68_s) > 1.2 * half_width((low, high))


def test_where_the_field_turns_back_its_change_limits_the_clip():
    """Derivation: the parallactic angle of Meeus, chapter 14, at every moment of a clip due west, where the rate passes
    zero, spans what is allowed at the rim; 5 % for the third order. The rate alone would promise a longer clip.
    """
    panel = build_discs(passport.scenario("island-traveller"))
    panel.set(body="Moon", evening="2026-12-20", moment=3, ranges=False)
    seen, site = panel.result, passport.scenario("island-traveller")
    assert abs(seen.rate_deg_h) < 1.0
    allowed_deg = math.degrees(seen.smear_arcsec / (0.5 * seen.diameter_arcsec))
    h = math.radians(15.041) * np.linspace(-0.5, 0.5, 201) * seen.turn_s / 3600.0
    phi, alt, az = (math.radians(x) for x in (site["site.latitude_deg"], seen.altitude_deg, seen.azimuth_deg))
    dec = math.asin(math.sin(phi) * math.sin(alt) + math.cos(phi) * math.cos(alt) * math.cos(az))
    hour = (
        math.atan2(
            -math.sin(az) * math.cos(alt), (math.sin(alt) - math.sin(phi) * math.sin(dec)) / math.cos(phi)
        )
        + h
    )
    q = np.arctan2(np.sin(hour), math.tan(phi) * math.cos(dec) - math.sin(dec) * np.cos(hour))
    assert np.ptp(np.degrees(q)) == pytest.approx(allowed_deg, rel=0.05)
    assert seen.turn_s < 0.995 * 3600.0 * allowed_deg / abs(seen.rate_deg_h)


def test_beyond_an_hour_no_number_is_promised():
    panel = build_discs(BALCONY)
    panel.set(body="Mars", evening="2026-10-10")
    assert "blur: 60 min or more (assumed)" in str(panel)
    assert "clip: field turns | over 1 h" in str(panel)
    assert "1.4 blurs wide" in str(panel)
    panel.set(body="Venus", evening="2027-02-17")
    assert "Only 8° high" in str(panel)
    panel = build_discs(passport.scenario("near-equator"))
    panel.set(body="Saturn", evening="2026-10-10")
    assert panel.result.altitude_deg > 88.0
    assert "may not keep up" in str(panel)


def test_the_guess_is_drawn_on_jupiter_alone(panel):
    panel.ghost = 60
    with_guess = panel.picture
    panel.ghost = None
    assert panel.picture != with_guess
    panel.set(body="Mars")
    bare = panel.picture
    panel.ghost = 60
    assert panel.picture == bare


def test_no_dark_hour_and_below_the_horizon_are_said():
    north = panel_file.seen(PLACE | {"latitude_deg": 70.0}, "Jupiter", "2027-06-21", 0)
    assert north.reason == "no dark hour"
    assert math.isnan(north.rate_deg_h)
    venus = panel_file.seen(PLACE, "Venus", "2026-10-10", 0)
    assert venus.reason == "below the horizon"
    assert panel_file.seen(PLACE, "Saturn", "2027-02-17", -3).reason == "it is not dark then"
    panel = build_discs(BALCONY)
    panel.set(body="Venus", evening="2026-10-10")
    assert "No clip can be planned: below the horizon" in str(panel)
    assert panel.result.disc_px > 20.0


def test_words_for_times():
    assert [figure.seconds(t) for t in (0.44, 12.6, 120.0, 7200.0)] == ["0.4 s", "13 s", "2.0 min", "2.0 h"]


# The Sun


def test_of_the_sun_the_size_only(monkeypatch, panel):
    """Source: the Sun is 32.4′ wide in mid February (1919″ at 1 au over 0.9879 au, almanac, recalled); its turn is not
    asked for with any place, and nothing that could aim is shown.
    """
    asked = []
    real = rotation.rotation_rate_deg_h
    monkeypatch.setattr(rotation, "rotation_rate_deg_h", lambda **k: asked.append(k) or real(**k))
    panel.set(body="Sun")
    assert not asked
    assert panel.result.diameter_arcsec == pytest.approx(1919.26 / 0.9881, rel=5e-4)
    for value in (
        panel.result.altitude_deg,
        panel.result.azimuth_deg,
        panel.result.turn_s,
        panel.result.longest_s,
    ):
        assert math.isnan(value)
    words = str(panel)
    assert "behind the Sun gate" in words
    assert "never without a front filter" in words
    assert "altitude, azimuth" not in words
    assert panel.result.motion_arcsec_s == pytest.approx(360.0 / (365.2564 * 24.0), rel=1e-4)
    panel.set(body="Moon")
    assert asked


def ticked():
    gate = Gate("sun")
    for index in range(6):
        gate.tick(index)
    return gate


WHEN = datetime(2027, 2, 14, 14, tzinfo=UTC)


def test_nothing_by_day_before_the_gate_is_ticked(monkeypatch):
    def asked(*_, **__):
        raise AssertionError("a place was computed")

    monkeypatch.setattr(night, "disc", asked)
    monkeypatch.setattr(night, "sun_shadow", asked)
    gate = Gate("sun")
    for index in range(5):
        gate.tick(index)
    with pytest.raises(GateClosed, match="Never left alone"):
        day_place(gate=gate, passport=BALCONY, name="Moon", time_utc=WHEN)
    with pytest.raises(TypeError, match="tick its checklist first"):
        day_place(gate=True, passport=BALCONY, name="Moon", time_utc=WHEN)
    gate.tick(5)
    with pytest.raises(AssertionError, match="was computed"):
        day_place(gate=gate, passport=BALCONY, name="Moon", time_utc=WHEN)
    outputs = [
        output.get("text", "")
        for cell in nbformat.read(NOTEBOOK, as_version=4).cells
        if cell.cell_type == "code"
        for output in cell.outputs
    ]
    assert any("Sun gate is closed: 6 of 6" in text and "Nothing was computed" in text for text in outputs)
    assert not any("from the shadow turn" in text for text in outputs)


def test_the_way_from_the_shadow_to_the_moon():
    """Source: Skyfield's places of both and its separation; 0.02° for UT1 and the Moon's series."""
    found = day_place(gate=ticked(), passport=BALCONY, name="Moon", time_utc=WHEN)
    moon, sun = observed("moon", [WHEN]), observed("sun", [WHEN])
    altitude, azimuth, _ = moon.altaz()
    shadow = (sun.altaz()[1].degrees[0] + 180.0) % 360.0
    assert found.shadow_azimuth_deg == pytest.approx(shadow, abs=0.02)
    assert (found.shadow_azimuth_deg + found.turn_deg) % 360.0 == pytest.approx(azimuth.degrees[0], abs=0.02)
    assert -180.0 <= found.turn_deg <= 180.0
    assert found.altitude_deg == pytest.approx(altitude.degrees[0], abs=0.02)
    assert found.sun_apart_deg == pytest.approx(float(moon.separation_from(sun).degrees[0]), abs=0.02)


@pytest.mark.parametrize(
    ("name", "time", "words"),
    [
        ("Sun", WHEN, "smallest shadow"),
        ("Moon", datetime(2027, 2, 17, 23, tzinfo=UTC), "must both be up"),
        ("Mars", datetime(2027, 2, 14, 12, tzinfo=UTC), "must both be up"),
        ("Mercury", datetime(2027, 2, 14, 12, tzinfo=UTC), "less than 30°"),
    ],
)
def test_day_place_refuses_what_is_no_good(name, time, words):
    with pytest.raises(ValueError, match=words):
        day_place(gate=ticked(), passport=BALCONY, name=name, time_utc=time)


# The written function


def test_the_function_of_the_lesson(monkeypatch, tmp_path):
    """The folded solution passes; nm for µm, a missing two, a sign, the quotient upside down and a blank do not."""
    lesson = lesson_of(STEM, monkeypatch, tmp_path)

    def right(*, pixel_um, wavelength_nm):
        return 2 * pixel_um / (wavelength_nm / 1000)

    assert lesson.answer("critical", right).correct
    for wrong in (
        lambda **k: right(**k) / 1000,
        lambda **k: right(**k) / 2,
        lambda **k: -right(**k),
        lambda **k: 1 / right(**k),
        lambda **k: None,
    ):
        assert not lesson.answer("critical", wrong).correct


def test_degrees_for_radians_are_named(monkeypatch, tmp_path):
    lesson = lesson_of(STEM, monkeypatch, tmp_path)
    assert "radians" in lesson.answer("rim", 1.95 / (1004 * 20 / 3600)).text
