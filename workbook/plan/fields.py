"""The frame yield over the whole sky of a rig, so that thousands of targets need not be followed one by one."""

from __future__ import annotations

import functools
from typing import NamedTuple

import numpy as np

from workbook import horizon, night, pointing
from workbook.constants import SIDEREAL_RATE_ARCSEC_S
from workbook.verdict import PathTerms, path_terms, path_yield
from workbook.verdict.conditions import Conditions

SUBS_S = np.geomspace(1.0, 600.0, 25)
NODE_ALTITUDES_DEG = np.array(
    [0.0, 5.0, *np.arange(10.0, 60.0, 7.0), 60.0, 65.0, 70.0, 74.0, 78.0, 81.0, 84.0, 87.0]
)
NODE_AZIMUTHS_DEG = np.arange(-6.0, 354.0, 12.0)  # none on the meridian, where a pole may stand
PHASES = 64
SEED = 20261125


class YieldMap(NamedTuple):
    """Share of subs kept, by whole degrees of altitude (0 to 90), every second degree of azimuth, and sub.

    sub_s, the sub lengths [s]; kept (91, 180, subs), single precision.
    """

    sub_s: np.ndarray
    kept: np.ndarray

    def rows(self, *, altitude_deg, azimuth_deg):
        """Index of the nearest cell, to be used on `kept.reshape(-1, subs)`."""
        row = np.clip(np.rint(altitude_deg), 0, 90).astype(np.int32)
        column = np.rint(np.asarray(azimuth_deg) / 2.0).astype(np.int32) % 180
        return row * 180 + column


@functools.lru_cache(maxsize=8)
def yield_map(passport, mode: str, guided: bool) -> YieldMap:
    """The share of subs kept, everywhere in the sky, for one rig and way of working.

    Parameters
    ----------
    passport : Passport
        Rig, habits and air; its central values.
    mode : {"alt-az", "tilted"}
        As in `verdict.path_terms`.
    guided : bool
        As in `verdict.path_terms`.

    Returns
    -------
    YieldMap
        From nodes 3 to 7° apart in altitude and 12° in azimuth, straight lines between them; near a pole of the
        motion (the zenith in alt-az) it is coarse. 0 behind the mask.
    """
    rig = passport.central()
    altitude, azimuth = (
        grid.ravel() for grid in np.meshgrid(NODE_ALTITUDES_DEG, NODE_AZIMUTHS_DEG, indexing="ij")
    )
    wanted = _near_the_view(passport, altitude, azimuth)
    kept = np.zeros((len(altitude), len(SUBS_S)))
    if wanted.any():
        points = sky_points(passport, altitude[wanted], azimuth[wanted])
        kept[wanted] = _in_speed_order(path_terms(rig, points, mode=mode, guided=guided))
    kept = kept.reshape(len(NODE_ALTITUDES_DEG), len(NODE_AZIMUTHS_DEG), len(SUBS_S))
    return YieldMap(SUBS_S, _every_degree(kept))


def sky_points(passport, altitude_deg, azimuth_deg) -> Conditions:
    """Directions of the sky as if each were a minute of a night, as far as `path_terms` looks.

    What it does not look at (Moon, time) is left empty.
    """
    latitude_deg = passport["site.latitude_deg"]
    phi, h, a = (np.radians(v) for v in (latitude_deg, altitude_deg, azimuth_deg))
    seen = pointing.hour_angle_dec(
        altitude_deg=altitude_deg, azimuth_deg=azimuth_deg, latitude_deg=latitude_deg
    )
    # A star on its way: rising in the east, and the faster in azimuth the higher.
    rising = SIDEREAL_RATE_ARCSEC_S * np.cos(phi) * np.sin(a)
    turning = SIDEREAL_RATE_ARCSEC_S * (np.sin(phi) - np.cos(phi) * np.cos(a) * np.tan(h))
    air = {
        "pressure_hpa": passport["night.pressure_hpa"],
        "temperature_degc": 0.5 * (passport["night.air_start_degc"] + passport["night.air_end_degc"]),
    }
    low, high = (
        night.refraction_arcmin(altitude_deg=np.clip(altitude_deg + step, -0.9, 90.0), **air)
        for step in (-0.05, 0.05)
    )
    empty = np.full(len(altitude_deg), np.nan)
    return Conditions(
        target=None,
        latitude_deg=latitude_deg,
        times_utc=np.full(len(altitude_deg), np.datetime64("NaT", "ms")),
        since_set_up_min=empty,
        night_share=empty,
        altitude_deg=np.asarray(altitude_deg),
        apparent_altitude_deg=np.asarray(altitude_deg),
        azimuth_deg=np.asarray(azimuth_deg),
        dec_deg=np.asarray(seen.dec_deg),
        hour_angle_deg=np.asarray(seen.hour_angle_deg),
        airmass=empty,
        altitude_rate_arcsec_s=rising,
        azimuth_rate_arcsec_s=turning,
        refraction_rate_arcsec_s=(high - low) / 0.1 / 60.0 * rising,
        moon_zenith_distance_deg=empty,
        moon_separation_deg=empty,
        moon_phase_angle_deg=empty,
        in_view=np.ones(len(altitude_deg), dtype=bool),
    )


def _near_the_view(passport, altitude_deg, azimuth_deg):
    """Nodes in the open sky, or with a neighbour there: the others are not asked for."""
    mask = horizon.mask(passport["site.horizon_deg"], ceiling_deg=passport["site.ceiling_deg"])
    near = np.zeros(len(altitude_deg), bool)
    for up in (-7.0, -3.5, 0.0, 3.5, 7.0):
        for aside in (-12.0, -6.0, 0.0, 6.0, 12.0):
            near |= mask.open(
                altitude_deg=np.clip(altitude_deg + up, 0.0, 90.0), azimuth_deg=azimuth_deg + aside
            )
    return near


def _in_speed_order(terms: PathTerms):
    """`path_yield` with slow nodes first: its steps follow the fastest node of a block."""
    order = np.argsort(terms.omega_rad_s.max((1, 2)), kind="stable")
    sorted_terms = PathTerms(**{key: value[order] for key, value in terms.__dict__.items()})
    kept = np.empty((len(order), len(SUBS_S)))
    kept[order] = path_yield(sorted_terms, sub_s=SUBS_S, phases=PHASES, seed=SEED)
    return kept


def _every_degree(kept):
    """Straight lines between the nodes: to every degree of altitude and every second of azimuth."""
    rows = _weights(np.arange(91.0), NODE_ALTITUDES_DEG)
    closed = np.concatenate([kept, kept[:, :1]], axis=1)
    first = NODE_AZIMUTHS_DEG[0]
    columns = _weights(
        (np.arange(0.0, 360.0, 2.0) - first) % 360.0 + first, np.append(NODE_AZIMUTHS_DEG, first + 360.0)
    )
    return np.einsum("ra,abs,cb->rcs", rows, closed, columns, optimize=True).astype(np.float32)


def _weights(at, nodes):
    return np.stack([np.interp(at, nodes, unit) for unit in np.eye(len(nodes))], axis=1)
