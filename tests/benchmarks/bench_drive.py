"""Benchmark, not a test: many nights of yield, the search for a period, a guided half hour, and their neighbours.

Run: python tests/benchmarks/bench_drive.py
"""

from __future__ import annotations

import statistics
import time

import numpy as np
from scipy.signal import lombscargle

from workbook import balance, drive, guiding

GEAR = {"peak_to_peak_arcsec": [50, 12], "period_s": [420.3, 210.15], "phase_deg": [0, 60]}


def median_ms(call, runs):
    call()
    times = []
    for _ in range(runs):
        start = time.perf_counter()
        call()
        times.append(1e3 * (time.perf_counter() - start))
    return statistics.median(times)


def many_nights(nights):
    return drive.night_yields(
        nights=nights, subs=200, sub_s=8, overhead_s=5.25, rate_error_arcsec_s=0, random_walk_arcsec_sqrt_s=0.3,
        tolerance_arcsec=3.38, seed=1, **GEAR,
    )  # fmt: skip


def one_by_one(nights):
    """The same by a loop over nights, every sub looked at 16 times."""
    random, shares = np.random.default_rng(1), []
    for _ in range(nights):
        t = random.uniform(0, 420.3) + 13.25 * np.arange(200)[:, None] + np.linspace(0, 8, 17)
        path = drive.gear_error_arcsec(time_s=t, **GEAR)
        path[:, 1:] += np.cumsum(0.3 * np.sqrt(0.5) * random.standard_normal((200, 16)), axis=1)
        shares.append(np.mean(np.ptp(path, axis=1) <= 3.38))
    return shares


def main():
    ours = median_ms(lambda: many_nights(10_000), 5)
    loop = 100 * median_ms(lambda: one_by_one(100), 3)
    print(
        f"10,000 nights x 200 subs        {ours:7.0f} ms (goal 500)   loop {loop:.0f} ms, ratio {loop / ours:.0f}"
    )

    t = np.arange(4800.0)
    series = drive.drive_error_arcsec(
        times_s=t, rate_error_arcsec_s=0.02, random_walk_arcsec_sqrt_s=0.1, seed=1, **GEAR
    )
    ours = median_ms(
        lambda: drive.fit_gears(times_s=t, errors_arcsec=series, shortest_s=60, longest_s=900, harmonics=4),
        15,
    )
    omega = 2 * np.pi * np.arange(1 / 900, 1 / 60, 1 / 4800 / 8)
    peer = median_ms(lambda: [lombscargle(t, series - series.mean(), k * omega) for k in range(1, 5)], 3)
    print(f"period of 4,800 samples         {ours:7.1f} ms (goal 50)")
    print(f"the same by lombscargle         {peer:7.1f} ms, ratio {peer / ours:.0f}")

    t = np.arange(0, 1800, 0.1)
    ra = drive.drive_error_arcsec(
        times_s=t, rate_error_arcsec_s=0, random_walk_arcsec_sqrt_s=0.3, seed=1, **GEAR
    )
    air_how = {"times_s": t, "tilt_sigma_arcsec": 1.3, "aperture_mm": 32, "wind_m_s": 8, "outer_scale_m": 25}
    air = guiding.tilt_series_arcsec(**air_how, seed=2)
    how = {
        "times_s": t, "ra_arcsec": ra, "dec_arcsec": t / 60, "air_arcsec": air, "dead_time_s": 1,
        "aggressiveness": 0.6, "minimum_move_arcsec": 0.2, "longest_pulse_s": 2, "guide_speed": 0.5, "dec_deg": 30,
        "backlash_arcsec": 25, "centroid_sigma_arcsec": 0.3, "seed": 3, "directions": "both",
    }  # fmt: skip
    for exposure in (0.5, 1, 2, 4):
        run = median_ms(lambda e=exposure: guiding.guide(exposure_s=e, **how), 15)
        print(f"guided half hour, {exposure:3} s frames   {run:7.1f} ms (goal 50)")
    run = median_ms(lambda: guiding.tilt_series_arcsec(**air_how, seed=2), 15)
    print(f"air of half an hour             {run:7.1f} ms")
    hands = {
        k: v for k, v in how.items() if not k.startswith(("aggress", "minimum", "longest", "directions"))
    }
    presses = {
        "press_s": np.arange(0, 1700, 17.0),
        "press_ra_s": np.full(100, 0.1),
        "press_dec_s": np.full(100, 0.1),
    }
    run = median_ms(lambda: guiding.guide_by_hand(exposure_s=1, **presses, **hands), 15)
    print(f"the same by hand, 100 presses   {run:7.1f} ms")

    subs = np.geomspace(1, 300, 60)
    run = median_ms(lambda: drive.frame_yield(sub_s=subs, tolerance_arcsec=3.38, **GEAR), 9)
    print(f"yield of 60 subs                {run:7.1f} ms")
    credit = {"star_sigma_arcsec": 1.6, "lowest_ratio": 0.6, "credit": "width"}
    run = median_ms(lambda: drive.credited_yield(sub_s=subs, **credit, **GEAR), 9)
    print(f"credit of 60 subs               {run:7.1f} ms")
    rig = {
        "arm_mm": 95, "overhang_mm": 40, "camera_outline_mm": [(-210, 45), (-90, 45), (-90, 38), (140, 38)],
        "leg_outline_mm": [(60, 120), (110, 320), (300, 900), (420, 1150)], "least_mm": 10, "lowest_deg": 20,
    }  # fmt: skip
    safe = median_ms(lambda: balance.safe_spans(dec_deg=31, latitude_deg=52.4, side="west", **rig), 9)
    print(f"safe hours of one star          {safe:7.1f} ms")


if __name__ == "__main__":
    main()
