"""A galaxy or nebula as a smooth elliptical patch of light."""

from __future__ import annotations

import numpy as np

from workbook.checks import not_negative, number, positive

# A catalogue's outline stands so many scale lengths from the middle: the discs of spiral galaxies begin at
# 21.65 mag/″² and are measured to 25 (Freeman 1970, ApJ 160, 811): (25 − 21.65) / (2.5 log10 e).
OUTLINE_SCALE_LENGTHS = 3.085
CORE_SHARE = 0.2  # the middle is rounded off within this share of a scale length


def elliptical_patch_e_px(
    *, width_px, height_px, x_px, y_px, major_px, minor_px, angle_deg, mean_e_px
) -> np.ndarray:
    """The light of a galaxy in each pixel: bright in the middle, fading smoothly.

    Parameters
    ----------
    width_px, height_px : int
        Size of the frame [px].
    x_px, y_px : float
        Middle of the patch, inside the frame or not [px].
    major_px, minor_px : float
        Full axes of the outline as a catalogue gives it [px].
    angle_deg : float
        Direction of the long axis in the frame, from x towards y [°].
    mean_e_px : float
        Electrons in a pixel if all the light were spread evenly over the outline [e⁻/px]: what the catalogue's
        mean surface brightness gives.

    Returns
    -------
    array
        Mean electrons in each pixel, shape (height, width), single precision [e⁻/px].

    Raises
    ------
    ValueError
        If an axis is not positive or the light negative.

    Notes
    -----
    An exponential disc, I = I₀ exp(−(√(r² + c²) − c)/h), h the outline's half axis over 3.085 and c = 0.2 h
    to round off the middle. Its whole light, 2π h_a h_b (1 + c/h) I₀, is the mean times the outline's area;
    4 % of it lies beyond 5 h and nothing is drawn beyond 12 h. The middle is 4.0 times the mean (1.5 mag
    brighter), the outline a fifth of it. Real nebulae have edges, arms and knots.

    References
    ----------
    Freeman 1970, ApJ 160, 811, DOI 10.1086/150474. Integral by hand; tested by summing the pixels.

    Examples
    --------
    >>> patch = elliptical_patch_e_px(width_px=401, height_px=301, x_px=200, y_px=150, major_px=60, minor_px=30,
    ...                               angle_deg=20, mean_e_px=5.0)
    >>> bool(abs(patch.sum() / (5 * np.pi / 4 * 60 * 30) - 1) < 0.002), round(float(patch[150, 200]), 1)
    (True, 19.8)
    """
    half_long, half_short = positive("major_px", major_px) / 2, positive("minor_px", minor_px) / 2
    mean = not_negative("mean_e_px", mean_e_px)
    angle = np.radians(number("angle_deg", angle_deg))
    long, short = half_long / OUTLINE_SCALE_LENGTHS, half_short / OUTLINE_SCALE_LENGTHS
    middle = mean * OUTLINE_SCALE_LENGTHS**2 / (2 * (1 + CORE_SHARE))

    image = np.zeros((int(height_px), int(width_px)), np.float32)
    wide = 12 * np.hypot(long * np.cos(angle), short * np.sin(angle))
    high = 12 * np.hypot(long * np.sin(angle), short * np.cos(angle))
    columns = _within(number("x_px", x_px), wide, image.shape[1])
    rows = _within(number("y_px", y_px), high, image.shape[0])
    x = (np.arange(image.shape[1])[columns] - x_px).astype(np.float32)
    y = (np.arange(image.shape[0])[rows] - y_px).astype(np.float32)[:, None]
    along = x * np.float32(np.cos(angle) / long) + y * np.float32(np.sin(angle) / long)
    across = y * np.float32(np.cos(angle) / short) - x * np.float32(np.sin(angle) / short)
    np.multiply(along, along, out=along)
    along += np.multiply(across, across, out=across)
    along += np.float32(CORE_SHARE**2)
    radius = np.sqrt(along, out=along)
    light = np.exp(np.subtract(np.float32(CORE_SHARE), radius, out=radius), out=radius)
    image[rows, columns] = np.multiply(light, np.float32(middle), out=light)
    return image


def _within(middle, reach, size):
    return slice(int(np.clip(middle - reach, 0, size)), int(np.clip(middle + reach + 1, 0, size)))
