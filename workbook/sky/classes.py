"""Sky classes by eye, and what they may mean in magnitudes: a range, from a table that is named."""

from __future__ import annotations

from typing import NamedTuple

from workbook.checks import chosen, number


class SkyClass(NamedTuple):
    """What a class may mean: darkest and brightest zenith sky [mag/″²], and the table that says so."""

    darkest_mag_arcsec2: float
    brightest_mag_arcsec2: float
    table: str


# Darkest and brightest sky of the classes 1 to 9 of Bortle 2001. His own text gives no magnitudes of the sky:
# both tables are later attempts, and they differ. An encyclopaedia's table of 2016, and one drawn from the
# ratio of artificial to natural light in the maps of Cinzano, Falchi & Elvidge 2001, MNRAS 328, 689. The
# classes 6 and 7 share a range in both, and so do 8 and 9, which end nowhere: 16 stands for a bright centre.
CLASS_TABLES = {
    "encyclopaedia2016": (
        (22.0, 21.7), (21.7, 21.5), (21.5, 21.3), (21.3, 20.4), (20.4, 19.1), (19.1, 18.0), (19.1, 18.0),
        (18.0, 16.0), (18.0, 16.0),
    ),
    "lightratio2001": (
        (22.0, 21.6), (21.6, 21.5), (21.5, 21.3), (21.3, 20.8), (20.8, 19.1), (19.1, 18.0), (19.1, 18.0),
        (18.0, 16.0), (18.0, 16.0),
    ),
}  # fmt: skip


def sky_of_class(*, sky_class, model="encyclopaedia2016") -> SkyClass:
    """The range of sky brightness that a class by eye may stand for.

    Parameters
    ----------
    sky_class : int
        Class 1 (darkest) to 9 (brightest).
    model : str
        Table: encyclopaedia2016 or lightratio2001; the first by default, because it is the one most copied.

    Returns
    -------
    SkyClass
        darkest_mag_arcsec2 and brightest_mag_arcsec2 [mag/″²], and the table.

    Raises
    ------
    ValueError
        If the class is not one of 1 to 9 or the table is unknown.

    Notes
    -----
    A class is judged by eye and depends on the eye, the air and the Milky Way; two tables differ by up to
    0.4 mag and one class spans up to 2 mag. A sky rate from an own frame is ten times better.

    References
    ----------
    Bortle, J. E. (2001), Sky & Telescope 101, 126 (the classes, no magnitudes); the tables as in
    CLASS_TABLES.

    Examples
    --------
    >>> sky_of_class(sky_class=5)
    SkyClass(darkest_mag_arcsec2=20.4, brightest_mag_arcsec2=19.1, table='encyclopaedia2016')
    """
    table = CLASS_TABLES[chosen("model", model, CLASS_TABLES)]
    place = number("sky_class", sky_class)
    if place not in range(1, 10):
        raise ValueError(f"sky_class must be a whole number from 1 to 9, received {place:g}")
    return SkyClass(*table[int(place) - 1], table=model)


def classes_of_sky(*, sky_mag_arcsec2):
    """All classes that any table allows for one sky: the way back is just as vague.

    Parameters
    ----------
    sky_mag_arcsec2 : float
        Surface brightness of the zenith [mag/″²].

    Returns
    -------
    tuple of int
        Classes from 1 to 9, more than one; none where the sky is darker or brighter than any class.

    References
    ----------
    Derivation: `sky_of_class` over both tables.

    Examples
    --------
    >>> classes_of_sky(sky_mag_arcsec2=18.6)
    (6, 7)
    """
    sky = number("sky_mag_arcsec2", sky_mag_arcsec2)
    ranges = [(i + 1, *limits) for table in CLASS_TABLES.values() for i, limits in enumerate(table)]
    return tuple(sorted({name for name, darkest, brightest in ranges if brightest <= sky <= darkest}))
