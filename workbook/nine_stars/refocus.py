"""When to focus again: the tube shrinks with the night, the focus zone does not grow."""

from __future__ import annotations

import datetime as dt
from typing import NamedTuple

import numpy as np

from workbook import optics
from workbook.night import dark_window
from workbook.nine_stars.model import train

DRAWS, SEED = 2000, 1


class Refocus(NamedTuple):
    """When the cooling of the tube uses up the focus zone, if the focus stood in its middle at dusk.

    half_zone_um [µm]; after_k and the night's cooling_k [K]; the dark start and the moments at which it is time
    again [UTC]; and the share of drawn nights in which the zone is used up before dawn.
    """

    half_zone_um: float
    after_k: float
    cooling_k: float
    start_utc: dt.datetime
    times_utc: tuple[dt.datetime, ...]
    chance: float

    def words(self) -> str:
        """The same as two sentences."""
        again = " and ".join(f"{time:%H:%M}" for time in self.times_utc[:3])
        said = f"focus again at {again} UTC" if again else "one focusing at dusk lasts until dawn"
        way = "cools" if self.cooling_k >= 0 else "warms"
        return (
            f"Zone ±{self.half_zone_um:.0f} µm, used up after {self.after_k:.1f} K; the night {way} by "
            f"{abs(self.cooling_k):.1f} K: {said}. "
            f"Used up before dawn in {100 * self.chance:.0f} of 100 nights drawn from the passport's spreads."
        )


def next_refocus(passport, *, date=None) -> Refocus | None:
    """The moments of the night at which the tube has carried the sensor out of the focus zone.

    Parameters
    ----------
    passport : Passport
        Tube, focal length, and the air at dusk and at dawn; the air cools in a straight line between.
    date : datetime.date, optional
        Evening; that of the passport's plan where it is left out.

    Returns
    -------
    Refocus or None
        None where the night never gets dark. The share of nights draws cooling, focal ratio and expansion. The
        lens's own drift is not in it: it may be as large as the tube's, in either direction.
    """
    window = dark_window(
        latitude_deg=passport["site.latitude_deg"],
        longitude_deg=passport["site.longitude_deg"],
        date=date or passport["plan.date"],
    )
    if window is None:
        return None
    growth = optics.EXPANSION[passport["optics.tube"]]
    focal = passport["optics.focal_mm"]
    zone = train(passport.central()).half_zone_um
    after = float(
        optics.refocus_after_k(half_zone_um=zone, tube_mm=focal, expansion_per_k=growth.usual_per_k)
    )
    cooling = passport["night.air_start_degc"] - passport["night.air_end_degc"]
    length = window.end_utc - window.start_utc
    times = int(abs(cooling) / after) if np.isfinite(after) else 0
    rig = passport.draw(DRAWS, SEED)
    expansion = np.random.default_rng(SEED).triangular(*growth, DRAWS)
    drawn = optics.refocus_after_k(
        half_zone_um=train(rig).half_zone_um, tube_mm=rig["optics.focal_mm"], expansion_per_k=expansion
    )
    cooled = np.abs(np.asarray(rig["night.air_start_degc"]) - rig["night.air_end_degc"])
    return Refocus(
        half_zone_um=float(zone),
        after_k=after,
        cooling_k=float(cooling),
        start_utc=window.start_utc,
        times_utc=tuple(
            window.start_utc + length * (count * after / abs(cooling)) for count in range(1, times + 1)
        ),
        chance=float(np.mean(cooled > drawn)),
    )
