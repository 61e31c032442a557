"""What stands in the sky: deep-sky objects by name, stars of a field, and where both fall on a picture.

Stars are in `stars`, their numbers in `counts`, their light in `starlight`, the tangent plane in `plane`; all
public names are at hand here. This file holds the deep-sky objects of OpenNGC, the open catalogue of the NGC
and IC objects: by Mattia Verga and contributors, licence CC BY-SA 4.0, as carried by the package PyOngc. Its
file is read once, by one read-only query, and kept.
"""

from __future__ import annotations

import difflib
import functools
import importlib.util
import re
import sqlite3
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from workbook import sky
from workbook.catalogue.counts import galactic_latitude_deg, star_count_deg2
from workbook.catalogue.plane import outline_deg, sky_from_plane_deg, tangent_plane_deg
from workbook.catalogue.starlight import star_electrons_s, v_mag
from workbook.catalogue.stars import CREDIT_STARS, StarField, stars_in_field

__all__ = [
    "CREDIT",
    "CREDIT_STARS",
    "CatalogueError",
    "DeepSkyObject",
    "StarField",
    "all_objects",
    "find",
    "galactic_latitude_deg",
    "mean_surface_mag_arcsec2",
    "outline_deg",
    "sky_from_plane_deg",
    "star_count_deg2",
    "star_electrons_s",
    "stars_in_field",
    "tangent_plane_deg",
    "v_mag",
]

CREDIT = "Deep-sky data: OpenNGC, Mattia Verga and contributors, CC BY-SA 4.0"

CURE = "reinstall the package pyongc"
QUERY = """
    SELECT o.name, o.type, t.typedesc, o.ra, o.dec, o.majax, o.minax, o.pa, o.vmag, o.bmag,
           o.messier, o.ngc, o.ic, o.commonnames, o.identifiers
    FROM objects AS o JOIN objTypes AS t ON o.type = t.type ORDER BY o.id
"""
NAME, TYPE, KIND, RA, DEC, MAJOR, MINOR, ANGLE, V, B, MESSIER, NGC, IC, COMMON, OTHER = range(15)

WRITTEN_OUT = {"MESSIER": "M", "CALDWELL": "C", "BARNARD": "B", "MELOTTE": "MEL", "HICKSON": "HCG"}

FIELDS = [
    ("name", "U24"),
    ("kind", "U32"),
    *((field, "f8") for field in ("ra_deg", "dec_deg", "major_arcmin", "minor_arcmin", "position_angle_deg")),
    *((field, "f8") for field in ("v_mag", "b_mag", "surface_mag_arcsec2")),
]


class CatalogueError(RuntimeError):
    """The catalogue's file is missing or damaged."""


@dataclass(frozen=True)
class DeepSkyObject:
    """One object: where, how large, how bright. None where the catalogue says nothing.

    Place in the ICRS [°], full axes [′], position angle of the long axis from north through east [°], total
    magnitudes, mean surface brightness in V [mag/″²], and in `missing` what is not known, in words.
    """

    name: str
    kind: str
    ra_deg: float
    dec_deg: float
    major_arcmin: float | None
    minor_arcmin: float | None
    position_angle_deg: float | None
    v_mag: float | None
    b_mag: float | None
    surface_mag_arcsec2: float | None
    common_names: tuple[str, ...]
    missing: tuple[str, ...]


def find(name: str) -> DeepSkyObject:
    """An object by any of its names.

    Parameters
    ----------
    name : str
        "NGC 7331", "ngc7331", "M 31", "Messier 31", "IC 434", a common name such as "Andromeda Galaxy", or
        an identifier of another catalogue such as "UGC 454" or "Barnard 33"; capitals, spaces and leading
        zeros do not matter.

    Returns
    -------
    DeepSkyObject
        For a duplicate number the object that it means. A missing minor axis is taken as round, and said in
        `missing`, as are size and brightness.

    Raises
    ------
    ValueError
        If no object, or more than one, has that name (the nearest names are told), or the object does not
        exist or has no place.
    CatalogueError
        If the catalogue's file is missing or damaged.

    Notes
    -----
    Places in the ICRS. The mean surface brightness spreads the total magnitude evenly over the ellipse, see
    `mean_surface_mag_arcsec2`; the middle of a galaxy is magnitudes brighter, its rim fainter, and the total
    magnitude of a large nebula is often a guess.

    References
    ----------
    OpenNGC, see CREDIT. Reference rows PHO-13 and NIG-11 to NIG-14.

    Examples
    --------
    >>> m31 = find("M 31")
    >>> m31.name, m31.kind, round(m31.ra_deg, 3), round(m31.surface_mag_arcsec2, 1)
    ('NGC 224', 'Galaxy', 10.685, 22.3)
    """
    rows = _rows_named(name)
    for _ in range(5):  # a duplicate may point to a duplicate
        if rows and rows[0][TYPE] == "Dup":
            rows = _rows_named(_meant_by(rows[0]))
    if not rows:
        raise ValueError(
            f"name {name!r} is not in the catalogue: the nearest are {', '.join(_nearest(name))}"
        )
    if len(rows) > 1:
        raise ValueError(
            f"name {name!r} means several objects: choose {' or '.join(_spaced(r[NAME]) for r in rows)}"
        )
    (row,) = rows
    if row[TYPE] == "NonEx":
        raise ValueError(
            f"{_spaced(row[NAME])} does not exist: observers found nothing at the place once reported"
        )
    if row[RA] is None or row[DEC] is None:
        raise ValueError(
            f"{_spaced(row[NAME])} has no place in the catalogue: give its right ascension and declination"
        )
    return _object(row)


@functools.lru_cache(maxsize=1)
def all_objects() -> np.ndarray:
    """All objects that exist and have a place, as one structured array, NaN where the catalogue says nothing.

    Fields: name, kind, ra_deg, dec_deg, major_arcmin, minor_arcmin, position_angle_deg, v_mag, b_mag,
    surface_mag_arcsec2, as in `DeepSkyObject`. Read-only and kept; duplicates are left out.

    >>> objects = all_objects()
    >>> bool(len(objects) > 13_000)
    True
    """
    table = np.array(
        [
            tuple(np.nan if (value := getattr(thing, field)) is None else value for field, _ in FIELDS)
            for row in _rows()
            if row[TYPE] not in ("Dup", "NonEx") and row[RA] is not None and row[DEC] is not None
            for thing in [_object(row)]
        ],
        dtype=FIELDS,
    )
    table.flags.writeable = False
    return table


def mean_surface_mag_arcsec2(*, magnitude, major_arcmin, minor_arcmin):
    """Total magnitude spread evenly over an ellipse.

    Parameters
    ----------
    magnitude : float or array
        Total magnitude.
    major_arcmin, minor_arcmin : float or array
        Full axes of the ellipse [′].

    Returns
    -------
    float or array
        Mean surface brightness [mag/″²]; NaN where an axis is zero.

    Notes
    -----
    `sky.mean_surface_mag_arcsec2`, but a table's missing axis gives NaN instead of an error.

    References
    ----------
    Reference row PHO-13.

    Examples
    --------
    >>> round(mean_surface_mag_arcsec2(magnitude=3.44, major_arcmin=190, minor_arcmin=60), 2)
    22.21
    """
    axes = [np.where(np.asarray(axis) > 0, axis, np.nan) for axis in (major_arcmin, minor_arcmin)]
    mean = sky.mean_surface_mag_arcsec2(magnitude=magnitude, long_arcmin=axes[0], short_arcmin=axes[1])
    return float(mean) if np.ndim(mean) == 0 else mean


def _object(row) -> DeepSkyObject:
    major = row[MAJOR]
    minor = row[MINOR] if row[MINOR] is not None else major
    missing = [
        word
        for word, is_missing in {
            "size": major is None,
            "minor axis": major is not None and row[MINOR] is None,
            "brightness": row[V] is None and row[B] is None,
            "V brightness": row[V] is None and row[B] is not None,
        }.items()
        if is_missing
    ]
    surface = None
    if major and minor and row[V] is not None:
        surface = mean_surface_mag_arcsec2(magnitude=row[V], major_arcmin=major, minor_arcmin=minor)
    return DeepSkyObject(
        name=_spaced(row[NAME]),
        kind=row[KIND],
        ra_deg=float(np.degrees(row[RA])),
        dec_deg=float(np.degrees(row[DEC])),
        major_arcmin=major,
        minor_arcmin=minor,
        position_angle_deg=None if row[ANGLE] is None else float(row[ANGLE]),
        v_mag=row[V],
        b_mag=row[B],
        surface_mag_arcsec2=surface,
        common_names=tuple(_parts(row[COMMON])),
        missing=tuple(missing),
    )


def _path() -> Path:
    found = importlib.util.find_spec("pyongc")  # looks for the package without running it
    if found is None or not found.submodule_search_locations:
        raise CatalogueError(f"the deep-sky catalogue is not installed: {CURE}")
    return Path(next(iter(found.submodule_search_locations))) / "ongc.db"


@functools.lru_cache(maxsize=1)
def _rows() -> tuple[tuple, ...]:
    path = _path()
    try:
        connection = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro&immutable=1", uri=True)
        try:
            rows = tuple(connection.execute(QUERY))
        finally:
            connection.close()
    except sqlite3.Error as error:
        raise CatalogueError(
            f"the deep-sky catalogue {path.name} is missing or damaged ({error}): {CURE}"
        ) from error
    if not rows:
        raise CatalogueError(f"the deep-sky catalogue {path.name} is empty: {CURE}")
    return rows


@functools.lru_cache(maxsize=4)
def _index(names: str) -> dict[str, list[tuple]]:
    """Rows by one kind of name: "own", "messier", "common" or "other"."""
    names_of = {
        "own": lambda row: [row[NAME]],
        "messier": lambda row: [f"M{row[MESSIER]}"] if row[MESSIER] else [],
        "common": lambda row: _parts(row[COMMON]),
        "other": lambda row: _parts(row[OTHER]),
    }[names]
    index: dict[str, list[tuple]] = {}
    for row in _rows():
        if names == "own" or row[TYPE] != "Dup":
            for key in {_key(name) for name in names_of(row)}:
                index.setdefault(key, []).append(row)
    return index


def _rows_named(name) -> list[tuple]:
    if not isinstance(name, str):
        raise TypeError(f"name must be text such as 'NGC 7331', received {name!r}")
    key = _key(name)
    kinds = ("own", "messier", "common", "other")  # an own name counts before a Messier number, and so on
    return next((rows for kind in kinds if (rows := _index(kind).get(key))), [])


def _meant_by(row) -> str:
    """The name that a duplicate points to."""
    for catalogue, number in (("NGC", row[NGC]), ("IC", row[IC]), ("M", row[MESSIER])):
        if number:
            return catalogue + number
    return ""


def _nearest(name):
    names = {_spaced(row[NAME]) for row in _rows()}
    names.update(common for row in _rows() for common in _parts(row[COMMON]))
    names.update(f"M {int(row[MESSIER])}" for row in _rows() if row[MESSIER])
    lowered = {each.lower(): each for each in sorted(names)}
    return [
        lowered[near] for near in difflib.get_close_matches(name.lower().strip(), lowered, n=3, cutoff=0.0)
    ]


def _key(name: str) -> str:
    """A name without capitals, spaces, apostrophes and leading zeros."""
    words = re.sub(r"[^A-Z0-9+\-.]+", " ", name.upper().replace("'", "")).split()
    if len(words) > 1 and words[0] in WRITTEN_OUT and words[1][0].isdigit():
        words[0] = WRITTEN_OUT[words[0]]
    if words[:1] == ["THE"]:
        words = words[1:]
    return re.sub(r"(?<![0-9.])0+(?=[0-9])", "", "".join(words))


def _spaced(name: str) -> str:
    """A name of the catalogue as people write it.

    >>> _spaced("NGC0224"), _spaced("ESO056-115"), _spaced("NGC4676A")
    ('NGC 224', 'ESO 56-115', 'NGC 4676A')
    """
    return re.sub(r"^([A-Za-z]+)0*(\d)", r"\1 \2", name)


def _parts(text) -> list[str]:
    return [part.strip() for part in (text or "").split(",") if part.strip()]
