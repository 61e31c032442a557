"""The real sky: how long it takes, and how long peers take in the same run. Prints peer / ours.

python tests/benchmarks/bench_night.py
"""

import importlib.util
import time
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

PLACE = {"latitude_deg": 50.0, "longitude_deg": 10.0}
SITE = PLACE | {"height_m": 300.0}
STAR = {"ra_deg": 10.684708, "dec_deg": 41.26875}
TIMES = np.datetime64("2026-11-10T18:00") + np.arange(300) * np.timedelta64(2, "m")
YEAR = [date(2026, 1, 1) + timedelta(days=day) for day in range(365)]
LEVELS_DEG = (-0.833, -6.0, -12.0, -18.0)


def median_ms(function, repeats=15):
    function()
    spans = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        spans.append(time.perf_counter() - start)
    return 1e3 * float(np.median(spans))


def ours():
    from workbook import catalogue, night
    from workbook.horizon import from_text

    mask = from_text("95 20, 95 5, 215 5, 215 20", ceiling_deg=70)
    seen = night.altaz(**STAR, **SITE, times_utc=TIMES)

    def cold_find():
        catalogue._rows.cache_clear()
        catalogue._index.cache_clear()
        catalogue.find("M 31")

    def year():
        return [
            night.dark_window(**PLACE, date=day, sun_altitude_deg=level)
            for day in YEAR
            for level in LEVELS_DEG
        ]

    def all_objects():
        catalogue.all_objects.cache_clear()
        catalogue.all_objects()

    air = {"pressure_hpa": 980, "temperature_degc": 5}
    return {
        "star": median_ms(lambda: night.altaz(**STAR, **SITE, times_utc=TIMES)),
        "moon": median_ms(lambda: night.moon(**SITE, times_utc=TIMES)),
        "twilights": median_ms(year, repeats=2),
        "refraction": median_ms(lambda: night.refraction_arcmin(altitude_deg=seen.altitude_deg, **air)),
        "mask": median_ms(lambda: mask.open(altitude_deg=seen.altitude_deg, azimuth_deg=seen.azimuth_deg)),
        "first name": median_ms(cold_find, repeats=3),
        "all objects": median_ms(all_objects, repeats=3),
    }


def skyfield():
    from skyfield import almanac
    from skyfield.api import Star, load, load_file, wgs84

    folder = Path(importlib.util.find_spec("skyfield_data").submodule_search_locations[0])
    ephemeris, scale = load_file(str(folder / "data" / "de421.bsp")), load.timescale(builtin=True)
    ground = wgs84.latlon(50.0, 10.0, 300.0)
    moments = [t.item().replace(tzinfo=UTC) for t in TIMES.astype("M8[ms]")]

    def place_of(body):  # a fresh time each call, since Skyfield keeps what it worked out for one
        return (
            (ephemeris["earth"] + ground).at(scale.from_datetimes(moments)).observe(body).apparent().altaz()
        )

    def twilights():
        start = scale.from_datetime(datetime(2026, 1, 1, 11, tzinfo=UTC))
        end = scale.from_datetime(datetime(2027, 1, 1, 11, tzinfo=UTC))
        almanac.find_discrete(start, end, almanac.dark_twilight_day(ephemeris, ground))

    star = Star(ra_hours=STAR["ra_deg"] / 15, dec_degrees=STAR["dec_deg"])
    figures = {
        "star": median_ms(lambda: place_of(star)),
        "moon": median_ms(lambda: place_of(ephemeris["moon"])),
        "twilights": median_ms(twilights, repeats=1),
    }
    ephemeris.close()
    return figures


def astropy():
    from astropy import units as u
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord, get_body
    from astropy.time import Time
    from astropy.utils import iers

    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        ground = EarthLocation.from_geodetic(10 * u.deg, 50 * u.deg, 300 * u.m)
        star = SkyCoord(STAR["ra_deg"] * u.deg, STAR["dec_deg"] * u.deg)

        def frame():
            return AltAz(obstime=Time(TIMES), location=ground)

        return {
            "star": median_ms(lambda: star.transform_to(frame())),
            "moon": median_ms(lambda: get_body("moon", Time(TIMES), ground).transform_to(frame()), repeats=5),
        }


def main():
    mine = ours()
    peers = {"skyfield": skyfield(), "astropy": astropy()}
    print(f"{'task':18s} {'ours ms':>9s}   peer / ours")
    for task, figure in mine.items():
        ratios = [
            f"{peer} {by[task] / figure:.1f} ({by[task]:.1f} ms)" for peer, by in peers.items() if task in by
        ]
        print(f"{task:18s} {figure:9.2f}   {'   '.join(ratios)}")


if __name__ == "__main__":
    main()
