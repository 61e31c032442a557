"""A few practice subs of an invented night, to be stacked, and what a stack of files did to the noise."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from workbook import frames
from workbook.checks import between, not_negative
from workbook.frames.stack_files import DiskPicture
from workbook.practice.night import REMARK, _stars, invented_night

SUB_S = 30.0
CLIP_SIGMAS = 3.0


def write_subs(folder, passport, *, seed: int, count: int = 8, dither_px=6.0) -> tuple[Path, ...]:
    """Subs of 30 s of one field, each pointed a little differently, as FITS files.

    Parameters
    ----------
    folder : str or Path
        Where the files go; it is made. Files of the same night, number and dither that are there already are kept.
    passport : Passport
        The rig.
    seed : int
        Which invented night.
    count : int
        How many subs, 2 to 50; by default 8, from which on a clip at three sigmas can find one bad value.
    dither_px : float
        Largest random step to each side, new for every sub; by default 6, wider than stars and hot pixels [px].

    Returns
    -------
    tuple of Path
        The files, in the order of the night.

    Raises
    ------
    ValueError
        If the number or the dither is out of its range.

    Notes
    -----
    Stars, sky and camera are those of `invented_night`; the dark current has the invented pattern of
    `frames.dark_pattern_e_s_px`, the same in every sub, and no dark is taken off. The mount neither drifts nor turns.
    The camera is taken as one without colour filters, so that one line of numbers tells the whole stack.

    References
    ----------
    Derivation: `frames.raw_frame`, `frames.sub_shifts_px`.
    """
    count = int(between("count", count, 2, 50))
    step = float(not_negative("dither_px", dither_px))
    night = invented_night(passport, seed=seed)
    mono = replace(night.camera, mosaic="")
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"{passport.name}-sub-{seed}-dither-{step:g}"
    paths = tuple(folder / f"{stem}-{number + 1:02}.fits" for number in range(count))
    shifts = frames.sub_shifts_px(
        subs=count, drift_x_px=0.0, drift_y_px=0.0, dither_px=step, dither_every=1, seed=seed
    )
    x, y, light = _stars(night, seed)
    pattern = frames.dark_pattern_e_s_px(
        width_px=mono.width_px,
        height_px=mono.height_px,
        dark_e_s_px=night.dark_e_s_px,
        seed=seed,
    )
    for number, path in enumerate(paths):
        if not path.exists():
            frame = frames.raw_frame(
                sensor=mono,
                exposure_s=SUB_S,
                x_px=x + shifts.x_px[number],
                y_px=y + shifts.y_px[number],
                star_e_s=light,
                shapes=frames.round_shapes_px2(sigma_px=night.star_sigma_px),
                sky_e_s_px=night.sky_e_s_px,
                dark_e_s_px=pattern,
                seed=1000 * seed + number,
                remarks=(REMARK,),
            )
            frames.write_frame(path, frame, overwrite=False)
    return paths


def stack_reading(job: frames.StackJob) -> str:
    """The noise of the first sub and of the stack, and how many subs made its pixels, as one line.

    The noise is the scatter from pixel to pixel, stars and hot pixels clipped, where every sub counts; the error of the
    share is that of two standard deviations, each σ/√(2N). Even noise falls to 1/√n.
    """
    many, coverage = len(job.used), job.stack.coverage
    whole = coverage == many
    if not whole.any():
        return f"No part of the picture is in all {many} subs: compare their pointing."
    sub = DiskPicture(job.used[0], mosaic=job.first.mosaic, colour=job.colour)[:, :]
    one, stacked = (
        frames.clipped_statistics(picture[whole], clip_sigmas=CLIP_SIGMAS)
        for picture in (sub, job.stack.light_adu)
    )
    share = stacked.sigma_adu / one.sigma_adu
    error = share * np.sqrt(0.5 / whole.sum() * (1 / one.kept + 1 / stacked.kept))
    left_out = f"; left out: {'; '.join(job.faults)}" if job.faults else ""
    return (
        f"{many} subs: noise of one {one.sigma_adu:.2f} counts, of the stack {stacked.sigma_adu:.2f}: "
        f"{share:.3f} ± {error:.3f} of it (even noise: {1 / np.sqrt(many):.3f}); {100 * whole.mean():.0f} % of the "
        f"picture lies in all subs, its edge in {coverage.min()} at least{left_out}"
    )
