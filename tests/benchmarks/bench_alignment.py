"""Benchmark, not a test: what a drag of a slider waits for, in pointing, rotation, alignment and night.

Run: python tests/benchmarks/bench_alignment.py
"""

from __future__ import annotations

import statistics
import time
from datetime import UTC, datetime

import numpy as np

from workbook import alignment, horizon, night, pointing, rotation

PLACE = {"latitude_deg": 52.4, "longitude_deg": 10.5, "height_m": 60.0}
FIELD = {"radius_px": 2441.0, "tolerance_px": 1.5}
BALCONY = horizon.from_text("0 90, 95 90, 95 20, 215 20, 215 90, 360 90", ceiling_deg=68)
NIGHT = {
    "dec_deg": 30.7,
    "latitude_deg": 52.4,
    "start_hour_angle_deg": -60,
    "end_hour_angle_deg": 20,
    "scale_arcsec_px": 2.256,
    "budget": 0.5,
    **FIELD,
}
SIGMAS = {
    "compass_sigma_deg": 2.0,
    "inclinometer_sigma_deg": 0.3,
    "level_sigma_deg": 0.5,
    "clock_sigma_s": 60.0,
    "azimuth_rate_arcsec_s": 20.0,
    "altitude_from": "gravity",
    "latitude_deg": 52.4,
}


def median_ms(call, runs=21):
    call()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        call()
        times.append(1e3 * (time.perf_counter() - start))
    return statistics.median(times)


def tasks():
    """Name, goal [ms] (None where nothing is promised), call."""
    hours = np.linspace(-75, 75, 300)
    star = {"dec_deg": 30.7, "latitude_deg": 52.4}
    sky = {"altitude_deg": np.arange(0, 91, 2.0)[:, None], "azimuth_deg": np.arange(0, 360, 3.0)}
    place = pointing.altaz(hour_angle_deg=hours, **star)._asdict()
    angles = np.linspace(0, 60, 300)
    turns = np.radians(np.linspace(-30, 30, 5))
    views = np.stack([np.sin(turns), np.full(5, 0.0), np.cos(turns)], axis=-1)
    pair = {
        "reachable": BALCONY.open,
        "latitude_deg": 52.4,
        "drift_sigma_arcsec_min": 0.1,
        "criterion": "area",
    }
    grid = {"hour_angles_deg": np.arange(-180, 180, 10.0), "decs_deg": np.arange(-80, 90, 10.0)}
    camera = {"sub_s": 60.0, "scale_arcsec_px": 2.256}
    error = {"azimuth_error_arcmin": 40.0, "altitude_error_arcmin": 20.0}
    across, up = np.linspace(-2000, 2000, 61), np.linspace(-1400, 1400, 43)[:, None]
    guide = {"guided": False, "guide_east_px": 0.0, "guide_north_px": 0.0}
    when = datetime(2026, 10, 10, 20, tzinfo=UTC)
    air = {"pressure_hpa": 1010.0, "temperature_degc": 8.0}
    return [
        (
            "night track, 300 points",
            5,
            lambda: rotation.night_track(hour_angles_deg=hours, sub_s=10, **star, **FIELD),
        ),
        ("axis rates, 300 points", 5, lambda: rotation.axis_rates(**place, latitude_deg=52.4)),
        ("sky map, 46 x 120", 45, lambda: rotation.longest_sub_on_sky_s(**sky, latitude_deg=52.4, **FIELD)),
        (
            "stack map, 60 x 60, 300 subs",
            45,
            lambda: rotation.stack_map(angles_deg=angles, width_px=4000, height_px=2800, columns=60),
        ),
        ("best pair, 10 degree grid", 300, lambda: alignment.best_pair(**grid, **pair)),
        (
            "axis cost, 300 hours",
            5,
            lambda: alignment.axis_cost(**error, hour_angle_deg=hours, **star, **camera, radius_px=2441),
        ),
        (
            "trails over the field, 61 x 43",
            45,
            lambda: alignment.field_trails_px(
                east_px=across, north_px=up, **guide, **error, hour_angle_deg=-30, **star, **camera
            ),
        ),
        ("tolerance", 45, lambda: alignment.axis_tolerance(**NIGHT, sub_s=60, guided=False)),
        (
            "axis from 5 pictures, 400 draws",
            45,
            lambda: alignment.fit_axis(
                directions=views, latitude_deg=1.3, position_sigma_arcsec=2, draws=400, seed=1
            ),
        ),
        ("rough set-up, 2,000 draws", 45, lambda: alignment.rough_draws(**SIGMAS, draws=2000, seed=1)),
        (
            "refraction drift, 300 hours",
            45,
            lambda: night.refraction_drift(hour_angle_deg=hours, **star, **air),
        ),
        ("pole star", None, lambda: night.pole_star(name="Polaris", **PLACE, times_utc=when)),
        (
            "true north by a star",
            None,
            lambda: night.star_north(
                ra_deg=279.2, dec_deg=38.8, **PLACE, times_utc=when, clock_sigma_s=30, place_sigma_m=500
            ),
        ),
    ]


def main():
    for name, goal_ms, call in tasks():
        goal = f"(goal {goal_ms})" if goal_ms else ""
        print(f"{name:34} {median_ms(call):8.2f} ms {goal}")


if __name__ == "__main__":
    main()
