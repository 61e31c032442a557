"""Stacking: how long 20 frames of 6 megapixels take, beside ccdproc and numpy in the same run. Prints peer / ours.

The aim is 4 s of processor time with alignment: bilinear, or whole pixels without a turn.

OMP_NUM_THREADS=1 python tests/benchmarks/bench_stack.py
"""

import resource
import time

import ccdproc
import numpy as np
from astropy import units as u
from astropy.nddata import CCDData

from workbook import frames
from workbook.frames.combine import combine_subs
from workbook.frames.fast_combine import fast_combine

WIDTH, HEIGHT, SUBS = 3000, 2000, 20
TURN_DEG = 0.3  # from the first to the last
NIGHT = {
    "subs": 40, "exposure_s": 60.0, "sky_e_s_px": 1.93, "dark_e_s_px": 0.1, "read_noise_e": 1.6, "mismatch": 0.206,
    "darks": 20, "drift_x_px": 0.3, "drift_y_px": 0.1, "dither_every": 1, "seed": 1,
}  # fmt: skip


def best_s(function, repeats=3):
    """Processor time of the shortest of some runs: a busy machine only ever adds."""
    spans = []
    for _ in range(repeats):
        start = time.process_time()
        function()
        spans.append(time.process_time() - start)
    return min(spans)


def made_subs():
    rng = np.random.default_rng(1)
    x, y = rng.uniform(-60, WIDTH + 60, 1500), rng.uniform(-60, HEIGHT + 60, 1500)
    light = 10 ** rng.uniform(0, 2, 1500)
    sensor = frames.Sensor(
        width_px=WIDTH, height_px=HEIGHT, read_noise_e=1.6, gain_e_adu=0.8, offset_adu=500, full_well_e=13000,
        adc_bits=14,
    )  # fmt: skip
    for number in range(SUBS):
        paths = frames.star_paths_px(
            x_px=x, y_px=y, shift_x_px=rng.uniform(-15, 15), shift_y_px=rng.uniform(-15, 15),
            turn_deg=TURN_DEG * number / SUBS, centre_x_px=(WIDTH - 1) / 2, centre_y_px=(HEIGHT - 1) / 2,
        )  # fmt: skip
        yield frames.raw_frame(
            sensor=sensor, exposure_s=60, x_px=paths.x_px, y_px=paths.y_px, star_e_s=light,
            shapes=frames.round_shapes_px2(sigma_px=1.4), sky_e_s_px=1.5, dark_e_s_px=0.1, seed=number,
        ).adu  # fmt: skip


def resident_mb():
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def main():
    subs = list(made_subs())
    before = resident_mb()
    align_s = best_s(lambda: frames.measure_alignments(subs))
    alignments = frames.measure_alignments(subs)
    told = f"{SUBS} frames of 6 megapixels"
    print(f"{told}: stars found and aligned {align_s:.2f} s")
    still = [each._replace(turn_deg=0.0) for each in alignments]
    for resampling, turned, places in (
        ("bilinear", "", alignments),
        ("whole pixels", " without a turn", still),
        ("whole pixels", f" with {TURN_DEG}° of turn", alignments),
    ):
        for method in ("mean", "clipped mean", "median"):
            ask = {"alignments": places, "method": method, "resampling": resampling}
            span = best_s(lambda a=ask: frames.stack_subs(subs, **a), 2)
            print(f"  {resampling}{turned}, {method}: {span:.2f} s; with alignment {span + align_s:.2f} s")
    print(f"  highest memory beyond the frames: {resident_mb() - before:.0f} MB")

    cube = np.random.default_rng(1).normal(600, 12, (SUBS, 64, 512)).astype(np.float32)
    ours = best_s(lambda: fast_combine(cube, method="clipped mean", clip_sigmas=3.0), 9)
    plain = best_s(lambda: combine_subs(cube, method="clipped mean", clip_sigmas=3.0), 3)

    def by_ccdproc():
        combiner = ccdproc.Combiner([CCDData(each, unit=u.adu) for each in cube])
        combiner.sigma_clipping(low_thresh=3, high_thresh=3, func=np.ma.median, dev_func=np.ma.std)
        combiner.average_combine()

    print(
        f"clipped mean of a tile: {1e3 * ours:.1f} ms; readable form {plain / ours:.0f} times as long; ",
        end="",
    )
    print(f"one round of ccdproc {best_s(by_ccdproc, 3) / ours:.0f} times")
    for method in ("mean", "clipped mean"):
        frames.walking_noise(**NIGHT, method=method, dither_px=3.0)
        span = best_s(lambda m=method: frames.walking_noise(**NIGHT, method=m, dither_px=3.0), 15)
        print(f"walking noise, 40 subs, {method}: {1e3 * span:.1f} ms")


if __name__ == "__main__":
    main()
