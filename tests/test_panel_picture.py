"""Lesson 01: what falls on the sensor, beside astropy's own projection, and the blur budget's panel."""

from __future__ import annotations

import math
import re
from pathlib import Path

import astropy.units as u
import nbformat
import numpy as np
import pytest
from astropy.coordinates import SkyCoord
from astropy.wcs import WCS
from test_lesson_answers_planted import lesson_of

from workbook import catalogue, optics, passport
from workbook.catalogue import stars as star_files
from workbook.figures import look
from workbook.figures import picture as figure
from workbook.panels import build_blur, build_picture, framing

NOTEBOOK = Path(__file__).parents[1] / "notebooks" / "01-picture.ipynb"
FREE = {"focal_mm": 320.0, "pixel_um": 3.5, "sensor_mm": 14.0, "turn_deg": 0.0}


@pytest.fixture(scope="module")
def frame():
    return framing.Framing(passport.scenario("balcony"), turns_deg=(0.0, 20.0))


@pytest.fixture(scope="module")
def panel():
    return build_picture(passport.scenario("balcony"))


@pytest.fixture(scope="module")
def blurred():
    return build_blur(passport.scenario("balcony"))


def flat(ra_deg, dec_deg, scale_arcsec_px):
    """An independent tangent plane: astropy's TAN, east to the left, counted from the middle."""
    wcs = WCS(naxis=2)
    wcs.wcs.ctype = ["RA---TAN", "DEC--TAN"]
    wcs.wcs.crval, wcs.wcs.crpix = [ra_deg, dec_deg], [1.0, 1.0]
    wcs.wcs.cdelt = [-scale_arcsec_px / 3600.0, scale_arcsec_px / 3600.0]
    return wcs


def test_the_moon_is_826_px_wide_on_the_demo_rig(frame):
    """Source: 31.09′, mean diameter of the Moon from the Earth's centre (D. R. Williams, NASA fact sheet, from
    memory); its arctangent on the sensor by hand. A hundredth of an arcminute is 0.3 px.
    """
    seen = frame(target="Moon", **FREE)
    by_hand = 2 * 320e3 / 3.5 * math.tan(math.radians(31.09 / 120))
    assert seen.long_px == pytest.approx(by_hand, abs=0.6)
    assert seen.scale_arcsec_px == pytest.approx(3600 * math.degrees(math.atan(3.5e-3 / 320)), rel=1e-6)
    assert (seen.width_px, seen.height_px) == (4000, 2800)
    assert seen.field_deg[0] == pytest.approx(2 * math.degrees(math.atan(7 / 320)), rel=1e-9)


def test_stars_stand_where_astropy_puts_them(frame):
    """Source: Alcyone, 56.87115°, +24.10514° (van Leeuwen 2007, HIP 17702, epoch 1991.25: 1.2″ of proper motion to
    2016 is half a pixel), through astropy's TAN.
    """
    seen = frame(target="Moon", **FREE)
    x, y = flat(framing.MOON_RA_DEG, framing.MOON_DEC_DEG, seen.scale_arcsec_px).wcs_world2pix(
        56.87115, 24.10514, 0
    )
    assert seen.star_x_px[0] == pytest.approx(x, abs=1.5)
    assert seen.star_y_px[0] == pytest.approx(y, abs=1.5)
    assert x < -500, "Alcyone is east of the Moon, and east is left"
    assert y < -500, "and south of it"
    assert not seen.synthetic[0]


def test_the_moon_stands_there_that_night():
    """Source: astropy's own Moon (ERFA's Meeus series, good to about 10″) for the balcony on that minute."""
    from astropy.coordinates import EarthLocation, get_body
    from astropy.time import Time
    from astropy.utils import iers

    place = EarthLocation(lat=52.4 * u.deg, lon=10.5 * u.deg, height=60 * u.m)
    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        moon = get_body("moon", Time("2026-10-28T01:30:00"), place)
        here = SkyCoord(framing.MOON_RA_DEG * u.deg, framing.MOON_DEC_DEG * u.deg, frame="icrs")
        # apparent and catalogue directions differ by the site's place only: compare on the sky's axes
        away = SkyCoord(moon.ra, moon.dec, frame="icrs").separation(here).arcmin
    assert away < 1.5


@pytest.mark.parametrize(
    ("name", "angle_deg", "half_arcmin"), [("M 31", 35.0, 88.915), ("M 33", 23.0, 31.045)]
)
def test_the_outline_points_where_the_catalogue_says(frame, name, angle_deg, half_arcmin):
    """Source: axes and position angle of OpenNGC; the end of the long axis by astropy's great circle and TAN."""
    seen = frame(target=name, **FREE)
    thing = catalogue.find(name)
    middle = SkyCoord(thing.ra_deg * u.deg, thing.dec_deg * u.deg)
    end = middle.directional_offset_by(angle_deg * u.deg, half_arcmin * u.arcmin)
    x, y = flat(thing.ra_deg, thing.dec_deg, seen.scale_arcsec_px).wcs_world2pix(end.ra.deg, end.dec.deg, 0)
    line = np.array(seen.outline_px)
    farthest = line[:, np.argmax(np.hypot(*line) * (line[1] > 0))]
    np.testing.assert_allclose(farthest, (x, y), atol=1.0)
    assert x < 0 < y, "north through east is up and to the left"
    assert seen.long_px == pytest.approx(2 * math.hypot(x, y), abs=0.5)


def test_what_a_turning_field_leaves(frame):
    """Derivation: an upright rectangle of side s fits into one turned by 10° while s (w sin + h cos) ≤ h."""
    seen = frame(target="M 33", **FREE | {"turn_deg": 20.0})
    ten = math.radians(10.0)
    assert seen.crop_side == pytest.approx(2800 / (4000 * math.sin(ten) + 2800 * math.cos(ten)), rel=1e-9)
    assert 0.8 < seen.shared_share < 0.9
    assert frame(target="M 33", **FREE).crop_side == 1.0


def test_fits_or_how_it_would(frame):
    """Derivation: M 31 at 35° is 178 √(cos² + (69.66/177.83)² sin²)′ high = 2.51°, against 1.75° of picture."""
    seen = frame(target="M 31", **FREE)
    a, t = math.radians(35.0), 69.66 / 177.83
    high_arcmin = 177.83 * math.hypot(math.cos(a), t * math.sin(a))
    assert seen.box_px[1] * seen.scale_arcsec_px / 60 == pytest.approx(high_arcmin, rel=2e-3)
    assert not seen.fits
    assert seen.longest_focal_mm == pytest.approx(320 * 1.7547 * 60 / high_arcmin, rel=3e-3)
    assert seen.panels == (1, 2)  # 2 × 1.75° − a fifth of it = 3.16°
    shorter = frame(target="M 31", **FREE | {"focal_mm": seen.longest_focal_mm - 0.5})
    assert shorter.fits
    assert frame(target="M 33", **FREE).fits


def test_along_the_camera_it_would_fit(frame):
    """Derivation: M 33 is 1651 × 977 px; a frame of 2000 × 1400 px holds it along, not at 23° from upright."""
    seen = frame(target="M 33", **FREE | {"sensor_mm": 7.0})
    assert not seen.fits
    assert seen.fits_turned


def test_the_detail_holds_the_light_of_the_sample_star(frame):
    """Source: 8.794e9 photons/s/m² at V = 0 (Bessell 1979), G = 10 is V = 10.15; a lens of 58 mm, 0.45 of the light,
    10 s. Allowed: four times the noise of 225 pixels of sky, star and read noise, about 130 e⁻.
    """
    seen = frame(target="M 33", **FREE)
    x, y = round(framing.SAMPLE_X_PX), round(framing.SAMPLE_Y_PX)
    box = seen.zoom_e[y - 7 : y + 8, x - 7 : x + 8]
    expected = 8.794e9 * 10 ** (-0.4 * 10.15) * math.pi / 4 * 0.058**2 * 0.45 * 10
    assert box.sum() - box.size * (seen.sky_e + seen.target_e) == pytest.approx(expected, abs=520)
    rows, columns = np.indices(box.shape) - 7
    light = np.clip(box - seen.sky_e - 14.0, 0, None)  # three times the noise: only the star is left
    assert (light * columns).sum() / light.sum() == pytest.approx(framing.SAMPLE_X_PX - x, abs=0.06)
    assert (light * rows).sum() / light.sum() == pytest.approx(framing.SAMPLE_Y_PX - y, abs=0.06)


def test_the_width_of_the_sample_star(frame):
    """Derivation: seeing 3″ and the Airy pattern, 1.029 λ/D (reference row SAM-10), and a pixel of variance 1/12."""
    seen = frame(target="M 33", **FREE)
    airy = 1.029 * 550e-9 / 0.058 * 206265
    sigma = math.hypot(3.0, airy) / seen.scale_arcsec_px / 2.35482
    assert seen.star_fwhm_px == pytest.approx(2.35482 * math.sqrt(sigma**2 + 1 / 12), rel=1e-3)


def test_the_same_seed_gives_the_same_detail(frame):
    first, second = (frame(target="M 57", **FREE).zoom_e for _ in range(2))
    np.testing.assert_array_equal(first, second)


def test_the_bright_nebula_is_seen_and_the_galaxy_is_not(frame):
    """Derivation: M 57 at 17.9 mag/″² is twice a sky of 18.6; M 33 at 22.8 a fiftieth of it (10^(−0.4 · 4.2))."""
    nebula, galaxy = (frame(target=name, **FREE) for name in ("M 57", "M 33"))
    sky = nebula.sky_e - 1.0  # dark current 0.1 e⁻/s for 10 s
    assert nebula.target_e / sky == pytest.approx(10 ** (0.4 * (18.6 - 17.947)), rel=1e-3)
    assert galaxy.target_e / sky == pytest.approx(10 ** (0.4 * (18.6 - 22.814)), rel=1e-3)
    assert nebula.zoom_e[22:26, 22:26].mean() > 4 * nebula.sky_e


def test_the_range_is_that_of_the_focal_length(frame):
    """Derivation: ± 4.8 mm of 320 is ± 1.5 %, and 16 and 84 % of a normal are ± 0.994 σ; 2000 draws give ± 0.05 %."""
    assert frame.spread[0] == pytest.approx(1 - 0.994 * 0.015, abs=0.0015)
    assert frame.spread[1] == pytest.approx(1 + 0.994 * 0.015, abs=0.0015)


def test_a_target_without_size_is_said_to_be_so():
    """OpenNGC gives IC 1 a place and no size."""
    rig = passport.scenario("balcony").replace({"plan.target": "IC 1"})
    panel = build_picture(rig)
    panel.set(target="IC 1")
    assert "no number" in str(panel)
    assert "gives no size" in str(panel)
    assert "not drawn" in panel.alt
    assert not panel.problem


def test_the_own_target_is_never_offered_twice():
    for own, large in (("M 31", "M 33"), ("NGC 224", "M 33"), ("M 33", "M 31"), ("NGC 6720", "M 31")):
        options = (
            build_picture(passport.scenario("balcony").replace({"plan.target": own}))
            .controls["target"]
            .options
        )
        assert options[:3] == ("Moon", large, own)
        assert len({catalogue.find(name).name for name in options[1:]}) == 3


def test_words_of_the_picture(panel):
    panel.reset()
    assert "Moon spans: 826 px (68 % range 81" in str(panel)
    assert "It fits: 21 % of the width, 30 % of the height." in str(panel)
    panel.set(target="M 31")
    assert "Too large" in str(panel)
    panel.set(target="M 57")
    assert "is small" in str(panel)
    panel.set(target="M 33", turn_deg=20.0)
    assert "81 % of a side is left" in str(panel)
    panel.set(target="M 33", turn_deg=0.0, sensor_mm=7.0)
    assert "Turn the camera along it" in str(panel)
    panel.reset()


def test_synthetic_stars_are_said_to_be_so(panel):
    panel.reset()
    panel.set(focal_mm=1000.0, target="M 57")
    assert "rings: synthetic" in panel._artists.stars_words.get_text()
    assert "are synthetic" in panel.alt
    panel.set(focal_mm=100.0, sensor_mm=36.0)
    assert panel._artists.stars_words.get_text().startswith("real stars")
    assert panel.result.faintest_mag < 10
    panel.reset()


def test_without_the_star_catalogue_it_says_what_to_do(monkeypatch, frame):
    monkeypatch.setattr(star_files, "_catalogue", lambda: (None, "the star catalogue is gone: reinstall it"))
    framing._sky.cache_clear()
    try:
        seen = frame(target="M 33", **FREE)
        assert seen.synthetic.all()
        assert "reinstall" in figure.describe(seen)
    finally:
        framing._sky.cache_clear()


def test_the_ghost_belongs_to_the_moon(panel):
    panel.reset()
    panel.ghost = 400
    assert panel._artists.ghost.get_radius() == pytest.approx(0.5 * 400 / 4000)
    panel.set(target="M 33")
    assert not panel._artists.ghost.get_visible()
    panel.ghost = None
    panel.reset()


def test_every_word_stays_on_the_picture(panel, blurred):
    """No text of the figure reaches beyond its edge, at the ends of every control."""
    for each in (panel, blurred):
        for name, control in each.controls.items():
            for value in control.options:
                each.set(ranges=False, **{name: value})
                renderer = each.canvas.canvas.get_renderer()
                edge = each.canvas.figure.bbox
                for ax in each.canvas.figure.axes:
                    for text in ax.texts:
                        if text.get_visible() and text.get_text():
                            box = text.get_window_extent(renderer)
                            assert box.x0 >= edge.x0 - 1, (name, value, text.get_text())
                            assert box.x1 <= edge.x1 + 1, (name, value, text.get_text())
                            assert box.y0 >= edge.y0 - 1, (name, value, text.get_text())
            each.reset()


def test_measured_focal_length_is_said_to_be_so():
    import datetime as dt

    entry = passport.Entry(314.2, 0.3, dt.date(2026, 10, 28))
    panel = build_picture(passport.scenario("balcony").replace({"optics.focal_mm": entry}))
    assert "measured" in str(panel)
    low, high = panel.result.low, panel.result.high
    assert high - low == pytest.approx(2 * 0.994 * 0.3 / 314.2, rel=0.1)


def test_both_panels_in_red(panel, blurred):
    for each in (panel, blurred):  # a change of look reaches the newest panel of a kind, and the one asked
        each.wear(look.RED)
        try:
            assert np.asarray(each.canvas.image())[..., 1:].max() == 0
        finally:
            each.wear(look.LIGHT)


# The notebook


def test_radians_and_degrees_are_named(monkeypatch, tmp_path):
    lesson = lesson_of("01-picture", monkeypatch, tmp_path)
    assert "radians" in lesson.answer("guide scale", 4.0e-3 / 140).text
    assert "206.265 is missing" in lesson.answer("guide scale", 4.0 / 140).text
    assert "degrees where radians" in lesson.answer("focal length", 8.225 / 1.5).text
    assert lesson.answer("focal length", 8.225 / (2 * math.tan(math.radians(0.75)))).correct


def test_the_function_of_the_lesson(monkeypatch, tmp_path):
    lesson = lesson_of("01-picture", monkeypatch, tmp_path)

    def scale(*, pixel_um, focal_mm):
        return 206.265 * pixel_um / focal_mm

    assert lesson.answer("scale", scale).correct
    for wrong, word in (
        (lambda *, pixel_um, focal_mm: -scale(pixel_um=pixel_um, focal_mm=focal_mm), "sign"),
        (lambda *, pixel_um, focal_mm: 1e-3 * pixel_um / focal_mm, "radians"),
        (lambda *, pixel_um, focal_mm: 1e3 * scale(pixel_um=pixel_um, focal_mm=focal_mm), "1,000"),
        (lambda *, pixel_um, focal_mm: 1 / scale(pixel_um=pixel_um, focal_mm=focal_mm), "swapped"),
    ):
        feedback = lesson.answer("scale", wrong)
        assert not feedback.correct
        assert word in feedback.text


STARS = {  # ICRS at 1991.25, van Leeuwen 2007, A&A 474, 653 (from memory; within 2″ of the star catalogue used)
    "Atlas": (57.29059, 24.05342),
    "Electra": (56.21890, 24.11334),
    "Mintaka": (83.00167, -0.29909),
    "Alnilam": (84.05339, -1.20192),
    "Sheliak": (282.51998, 33.36267),
    "Sulafat": (284.73593, 32.68956),
    "Antares": (247.35192, -26.43200),
    "Alniyat": (245.29715, -25.59279),
}


def test_the_pairs_on_the_card_are_so_far_apart():
    """Source: places of the stars above, separations by astropy; half the last printed digit."""
    text = "\n".join(cell.source for cell in nbformat.read(NOTEBOOK, as_version=4).cells)
    pairs = re.findall(r"^\| (\w+) and (\w+).*\| (\d\.\d{3})° \|$", text, flags=re.MULTILINE)
    assert len(pairs) == 4
    for first, second, degrees in pairs:
        one, two = (SkyCoord(*STARS[name], unit="deg") for name in (first, second))
        assert one.separation(two).deg == pytest.approx(float(degrees), abs=0.0006)


def test_the_cards_formula_gives_the_focal_length_back():
    """Derivation: two stars as far left as right of the middle on a tangent plane; 0.0573 is rounded by 0.01 %."""
    for focal_mm, apart_deg in ((314.2, 1.5), (320.0, 2.028)):
        d = 2 * focal_mm * math.tan(math.radians(apart_deg / 2)) / 3.5e-3
        assert 0.0573 * d * 3.5 / apart_deg == pytest.approx(focal_mm, rel=3e-4)


def test_field_of_the_page(frame):
    """The panel's field is the topic's own."""
    seen = frame(target="Moon", **FREE | {"focal_mm": 640.0, "pixel_um": 7.0})
    assert seen.field_deg[0] == pytest.approx(optics.field_of_view_deg(sensor_mm=14.0, focal_mm=640.0))
    assert seen.long_px == pytest.approx(frame(target="Moon", **FREE).long_px)
