"""Frames: how long they take, and how long galsim and plain numpy take in the same run. Prints peer / ours.

OMP_NUM_THREADS=1 python tests/benchmarks/bench_frames.py
"""

import time

import galsim
import numpy as np

from workbook import catalogue, frames
from workbook.frames import camera, drawing, fast_noise

SAMPLES = 48
CAMERA = {"read_noise_e": 1.6, "gain_e_adu": 0.8, "offset_adu": 500, "full_well_e": 13000, "adc_bits": 14}
SKY_E_S_PX, DARK_E_S_PX, EXPOSURE_S = 1.5, 0.1, 60.0


def median_ms(function, repeats):
    function()
    spans = []
    for _ in range(repeats):
        start = time.perf_counter()
        function()
        spans.append(time.perf_counter() - start)
    return 1e3 * float(np.median(spans))


def scene(width_px, height_px, stars):
    """Stars with their own trails: gear, drift, jitter, and a turn about a star outside the frame."""
    rng = np.random.default_rng(1)
    times = frames.sample_times_s(exposure_s=EXPOSURE_S, samples=SAMPLES)
    shift = frames.mount_shift_px(
        times_s=times,
        drift_x_px=1.5,
        drift_y_px=-0.5,
        peak_to_peak_px=8.0,
        period_s=420.3,
        phase_deg=30.0,
        direction_deg=15.0,
        jitter_px=0.3,
        seed=1,
    )
    paths = frames.star_paths_px(
        x_px=rng.uniform(0, width_px, stars),
        y_px=rng.uniform(0, height_px, stars),
        shift_x_px=shift.x_px,
        shift_y_px=shift.y_px,
        turn_deg=np.linspace(-0.04, 0.04, SAMPLES),
        centre_x_px=1.3 * width_px,
        centre_y_px=0.4 * height_px,
    )
    return paths, 10 ** rng.uniform(1.5, 4.5, stars)


def corner_shapes(width_px, height_px):
    """Stars that widen and stretch towards the corners, each its own."""

    def shapes(x_px, y_px):
        right, up = x_px - width_px / 2, y_px - height_px / 2
        share = (right**2 + up**2) / (width_px**2 + height_px**2) * 4
        angle = np.arctan2(up, right)
        along, across = 1.7 + 3 * share**2, 1.7 + 0.6 * share**2
        c, s = np.cos(angle), np.sin(angle)
        return frames.Shapes(
            along * c**2 + across * s**2, (along - across) * c * s, along * s**2 + across * c**2
        )

    return shapes


def by_galsim(sensor, paths, light):
    """The same sky by photon shooting: each star a Gaussian along a straight line from end to end of its path."""
    rng = galsim.BaseDeviate(1)
    image = galsim.ImageF(sensor.width_px, sensor.height_px)
    for x, y, flux in zip(paths.x_px, paths.y_px, light, strict=True):
        span = np.hypot(x[-1] - x[0], y[-1] - y[0])
        angle = np.arctan2(y[-1] - y[0], x[-1] - x[0]) * galsim.radians
        star = galsim.Convolve([galsim.Gaussian(sigma=1.3), galsim.Box(max(span, 0.1), 0.1).rotate(angle)])
        half = int(span / 2 + 12)
        middle = galsim.PositionI(int(x.mean()) + 1, int(y.mean()) + 1)
        box = (
            galsim.BoundsI(middle.x - half, middle.x + half, middle.y - half, middle.y + half) & image.bounds
        )
        if box.isDefined():
            offset = galsim.PositionD(x.mean() + 1, y.mean() + 1)
            star.withFlux(flux).drawImage(
                image[box],
                center=offset,
                scale=1.0,
                method="phot",
                rng=rng,
                add_to_image=True,
                poisson_flux=True,
            )
    image += (SKY_E_S_PX + DARK_E_S_PX) * EXPOSURE_S
    image.addNoise(galsim.CCDNoise(rng, gain=1.0, read_noise=1.6))
    return np.clip(image.array / 0.8 + 500, 0, 16383).astype(np.uint16)


def plain_frame(sensor, paths, light, shapes):
    size = {"width_px": sensor.width_px, "height_px": sensor.height_px}
    image = drawing.draw_stars(x_px=paths.x_px, y_px=paths.y_px, star_e=light, shapes=shapes, **size)
    return camera.read_out(image + (SKY_E_S_PX + DARK_E_S_PX) * EXPOSURE_S, sensor=sensor, seed=1)


def frame(sensor, paths, light, shapes):
    return frames.raw_frame(
        sensor=sensor,
        exposure_s=EXPOSURE_S,
        x_px=paths.x_px,
        y_px=paths.y_px,
        star_e_s=light / EXPOSURE_S,
        shapes=shapes,
        sky_e_s_px=SKY_E_S_PX,
        dark_e_s_px=DARK_E_S_PX,
        seed=1,
    )


def line(name, ours_ms, peers):
    told = "; ".join(f"{peer} {ms:.0f} ms, {ms / ours_ms:.0f} times as long" for peer, ms in peers.items())
    print(f"{name:<46} {ours_ms:7.1f} ms   {told}")


def main():
    round_stars = frames.round_shapes_px2(sigma_px=1.3)
    for name, width, height, stars, repeats in (
        ("6 megapixels, 3,000 trailed stars", 3000, 2000, 3000, 9),
        ("preview 600 × 400, 300 trailed stars", 600, 400, 300, 31),
    ):
        sensor = frames.Sensor(width_px=width, height_px=height, **CAMERA)
        paths, light = scene(width, height, stars)
        peers = {
            "galsim": median_ms(lambda s=sensor, p=paths, e=light: by_galsim(s, p, e), 3),
            "plain form": median_ms(lambda s=sensor, p=paths, e=light: plain_frame(s, p, e, round_stars), 1),
        }
        ours = median_ms(lambda s=sensor, p=paths, e=light: frame(s, p, e, round_stars), repeats)
        line(name, ours, peers)
        shapes = corner_shapes(width, height)
        ours = median_ms(lambda s=sensor, p=paths, e=light, g=shapes: frame(s, p, e, g), repeats)
        line("  with a shape for each star", ours, {})
        flat = np.full((height, width), 100.0, np.float32)
        ours = median_ms(lambda f=flat, s=sensor: fast_noise.read_out(f, sensor=s, seed=1), repeats)
        numpy_ms = median_ms(lambda f=flat, s=sensor: camera.read_out(f, sensor=s, seed=1), 3)
        line("  its noise alone", ours, {"numpy's Poisson and normal": numpy_ms})
    ask = {"ra_deg": 10.7, "dec_deg": 41.3, "radius_deg": 1.6}
    catalogue.stars_in_field(**ask, faintest_mag=10)
    real = median_ms(lambda: catalogue.stars_in_field(**ask, faintest_mag=10), 31)
    line("stars of a field of 8 square degrees, real", real, {})
    line(
        "  and synthetic to magnitude 16",
        median_ms(lambda: catalogue.stars_in_field(**ask, faintest_mag=16), 15),
        {},
    )


if __name__ == "__main__":
    main()
