"""Planning: one target, the ranking, the year, and astropy's own transform of the same stars in the same run.

python tests/benchmarks/bench_plan.py
"""

import time
from datetime import date

import numpy as np


def best_ms(function, repeats=7):
    function()
    spans = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        spans.append(time.perf_counter() - start)
    return 1e3 * min(spans)


def astropy_ms(objects, times, place):
    from astropy import units as u
    from astropy.coordinates import AltAz, EarthLocation, SkyCoord
    from astropy.time import Time
    from astropy.utils import iers

    with iers.conf.set_temp("auto_download", False), iers.conf.set_temp("auto_max_age", None):
        ground = EarthLocation.from_geodetic(place["longitude_deg"], place["latitude_deg"], place["height_m"])
        stars = SkyCoord(objects["ra_deg"][:, None] * u.deg, objects["dec_deg"][:, None] * u.deg)
        return best_ms(
            lambda: stars.transform_to(AltAz(obstime=Time(times)[None, :], location=ground)), repeats=2
        )


def main():
    from workbook import catalogue, night, passport, plan, verdict
    from workbook.plan import fields, ranking

    rig = passport.scenario("island-traveller")
    place = {key: rig[f"site.{key}"] for key in ("latitude_deg", "longitude_deg", "height_m")}
    objects = catalogue.all_objects()
    dark = night.dark_window(
        latitude_deg=place["latitude_deg"], longitude_deg=place["longitude_deg"], date=rig["plan.date"]
    )
    minutes = night.minutes_utc(start_utc=dark.start_utc, end_utc=dark.end_utc)
    steps = night.minutes_utc(start_utc=dark.start_utc, end_utc=dark.end_utc, step_s=ranking.STEP_S)
    star = {"ra_deg": 23.46, "dec_deg": 30.66, "pressure_hpa": 1012, "temperature_degc": 16}
    every = plan.Wish(least_px=0.0)

    def cold():
        fields.yield_map.cache_clear()
        plan.rank(rig)

    tasks = {
        f"track, 1 target × {len(minutes)} minutes": lambda: night.track(**star, **place, times_utc=minutes),
        "twilights, 365 nights × 4": lambda: night.twilights(
            latitude_deg=50, longitude_deg=10, first_date=date(2026, 1, 1), nights=365,
            sun_altitudes_deg=[-0.833, -6, -12, -18],
        ),
        f"many_altaz, {len(objects)} × {len(steps)}": lambda: night.many_altaz(
            ra_deg=objects["ra_deg"], dec_deg=objects["dec_deg"], **place, times_utc=steps
        ),
        "rank, whole catalogue": lambda: plan.rank(rig),
        "rank, with the map of the sky made anew": cold,
        "rank, nothing called too small": lambda: plan.rank(rig, wish=every),
        "season": lambda: plan.season(rig, clear_share=0.3, clear_share_sigma=0.1, seeing_arcsec=3),
        "sequence, 5 targets": lambda: plan.sequence(rig, targets=["M 33", "M 31", "M 13", "M 45", "M 2"]),
        "mode advice, 500 draws": lambda: plan.mode_advice(rig),
        "ribbon on the drag": lambda: verdict.ribbon(rig, draws=0, start_min=30.0),
        "ribbon with ranges": lambda: verdict.ribbon(rig, start_min=30.0),
    }  # fmt: skip
    mine = {name: best_ms(task) for name, task in tasks.items()}
    peer = astropy_ms(objects, steps, place)
    one = astropy_ms(
        np.array([(23.46, 30.66)], dtype=[("ra_deg", float), ("dec_deg", float)]), minutes, place
    )
    print(
        f"astropy, {len(objects)} stars × {len(steps)} moments: {peer:.0f} ms; 1 star × {len(minutes)}: {one:.1f} ms"
    )
    for name, spent in mine.items():
        ratio = ""
        if name.startswith(("many", "rank")):
            ratio = f"   astropy / ours {peer / spent:.1f}"
        if name.startswith("track"):
            ratio = f"   astropy / ours {one / spent:.1f}"
        print(f"{name:42s} {spent:9.2f} ms{ratio}")


if __name__ == "__main__":
    main()
