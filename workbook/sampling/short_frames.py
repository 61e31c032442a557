"""What many short frames of a small telescope resolve, once each is shifted back: sharper than the seeing."""

from __future__ import annotations

import functools

import numpy as np

from workbook.checks import between, not_negative, positive
from workbook.constants import ARCSEC_PER_RAD
from workbook.optics.diffraction import WAVELENGTH
from workbook.sampling.width import SEEING_REFERENCE_NM

FRIED_WIDTH = 0.98  # long exposure: FWHM = 0.98 λ/r0 (reference row SEE-01)
KOLMOGOROV = 6.88  # structure function 6.88 (s/r0)^(5/3) (Fried 1966)
ENDS_AT = 16.0  # the largest D/r0 of the table
CELLS = 96  # frequencies along each axis
LAGS, POINTS = 144, 14  # distances between two points of the pupil, and points a quarter of their overlap


def short_frame_fwhm_arcsec(*, aperture_mm, seeing_arcsec, wavelength_nm):
    """The width of a star in frames so short that the air stands still, each frame shifted back before they add.

    Parameters
    ----------
    aperture_mm : float or array
        Clear diameter of the telescope [mm].
    seeing_arcsec : float or array
        Width of a star in a long exposure by the air alone, at 500 nm and at the target's altitude [″].
    wavelength_nm : float or array
        Wavelength of the light [nm].

    Returns
    -------
    float or array
        Full width at half maximum, diffraction included [″]. NaN where the aperture is more than 16 times Fried's r0.

    Raises
    ------
    ValueError
        If the aperture is not positive, the seeing negative or the wavelength outside 100 to 30,000 nm.

    Notes
    -----
    The air's wave front is Kolmogorov's with r0 = 0.98 λ/seeing, growing as λ^(6/5). Its best-fitting tilt is taken
    out, which shifting does. Between two points of the pupil what is left has the structure function
    6.88 (s/r0)^(5/3) − 4 (K₁ − K₂)·s + 4 v s², where K is the covariance of the wave front with the two tilts and v the
    variance of each (Noll: 0.448 (D/r0)^(5/3)); the transfer function is the mean of exp(−half of it) over all pairs a
    distance apart. A mean over all frames: the best ones are sharper. The width is that of the core; above a D/r0 of
    about 4 most of the light lies in a wide halo round it. For frames of some milliseconds, a clear round aperture and
    perfect shifting. A small telescope sees mostly the shift: its short frames are nearly as sharp as its diffraction
    allows.

    References
    ----------
    Fried, D. L. (1966), J. Opt. Soc. Am. 56, 1372; Noll, R. J. (1976), J. Opt. Soc. Am. 66, 207 (both recalled);
    reference rows SAM-10, SEE-01 and SEE-07. In the tests frames through thrown wave fronts.

    Examples
    --------
    >>> print(round(short_frame_fwhm_arcsec(aperture_mm=58, seeing_arcsec=3, wavelength_nm=550), 2))
    2.04
    """
    aperture = positive("aperture_mm", aperture_mm, cure="did you pass metres?")
    seeing = not_negative("seeing_arcsec", seeing_arcsec)
    colour = between("wavelength_nm", wavelength_nm, **WAVELENGTH)
    one_arcsec = ARCSEC_PER_RAD * 1e-6 * colour / aperture  # λ/D
    here = seeing * (colour / SEEING_REFERENCE_NM) ** -0.2  # λ/r0 shrinks as λ^−0.2
    ratios, widths = _table()
    return (one_arcsec * np.interp(here / (FRIED_WIDTH * one_arcsec), ratios, widths, right=np.nan))[()]


@functools.cache
def _table():
    """FWHM in λ/D over D/r0: the transfer function summed across, then its cosine sum brought to one half."""
    ratios = np.concatenate([np.arange(0.0, 8.0, 0.1), np.arange(8.0, ENDS_AT + 0.1, 0.25)])
    lags, passed = _passed(ratios)
    f = (np.arange(CELLS) + 0.5) / CELLS  # of the cut-off: a lag of 2 pupil radii
    radius = np.hypot(f[:, None], f)
    across = np.array([np.interp(2.0 * radius, lags, row, right=0.0).sum(axis=0) for row in passed])
    low, high = np.zeros(ratios.size), np.maximum(1.0, 1.2 * ratios)
    for _ in range(45):
        middle = 0.5 * (low + high)
        above = (across * np.cos(2.0 * np.pi * middle[:, None] * f)).sum(axis=1) > 0.5 * across.sum(axis=1)
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return ratios, low + high


def _passed(ratios):
    """Lags in pupil radii, and the transfer function at each for each D/r0."""
    lags = np.linspace(0.0, 2.0, LAGS + 1)
    nodes, weights = np.polynomial.legendre.leggauss(POINTS)
    nodes, weights = 0.5 * (nodes + 1.0), 0.5 * weights
    top = np.sqrt(1.0 - 0.25 * lags**2)[:, None, None]
    w = top * nodes[:, None]
    width = np.sqrt(1.0 - w**2) - 0.5 * lags[:, None, None]
    u = width * nodes
    area = 4.0 / np.pi * top * weights[:, None] * width * weights  # four quarters, of the pupil's π
    half = 0.5 * lags[:, None, None]
    near, far = np.hypot(u - half, w), np.hypot(u + half, w)
    tilt, variance = _tilts()
    along = tilt(far) * (u + half) - tilt(near) * (u - half)
    s = lags[:, None, None]
    left = KOLMOGOROV * (0.5 * s) ** (5.0 / 3.0) - 4.0 * s * along + 4.0 * variance * s**2
    powers = ratios ** (5.0 / 3.0)
    passed = [(area * np.exp(-0.5 * power * left)).sum(axis=(1, 2)) for power in powers]
    return lags, np.array(passed)


def _tilts():
    """K/r at a distance r from the middle of the pupil, as a function, and the variance of a tilt; for D = r0."""
    nodes, weights = np.polynomial.legendre.leggauss(40)
    r, r_weights = 0.5 * (nodes + 1.0), 0.5 * weights
    angle = (np.arange(60) + 0.5) * np.pi / 60.0
    here = np.linspace(0.0, 1.0, 41)[1:]
    x, y = r[:, None] * np.cos(angle), r[:, None] * np.sin(angle)
    apart = np.hypot(x - here[:, None, None], y)
    element = (r * r_weights)[:, None] * 2.0 * np.pi / 60.0  # both halves of the disc
    spread = KOLMOGOROV * (0.5 * apart) ** (5.0 / 3.0)
    tilt = -0.5 / np.pi * (2.0 * x * spread * element).sum(axis=(1, 2)) / here
    per_radius = functools.partial(np.interp, xp=here, fp=tilt)
    variance = float(2.0 * (r**3 * per_radius(r) * r_weights).sum())  # (1/π) ∫ 2x · x K/r over the disc
    return per_radius, variance
