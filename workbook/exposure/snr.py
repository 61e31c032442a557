"""Signal-to-noise of a star or of a patch of sky, in one exposure and in many."""

from __future__ import annotations

import numpy as np

from workbook.checks import not_negative, positive


def snr_star(*, star_e_s, sky_e_s_px, dark_e_s_px, read_noise_e, pixels, sub_s, subs=1):
    """Signal-to-noise of a star, or of any patch of pixels, in a stack of equal subs.

    Parameters
    ----------
    star_e_s : float or array
        Electrons of the object inside the patch [e⁻/s].
    sky_e_s_px : float or array
        Sky background [e⁻/s/px].
    dark_e_s_px : float or array
        Dark current [e⁻/s/px].
    read_noise_e : float or array
        Read noise of one pixel in one sub [e⁻].
    pixels : float or array
        Number of pixels in the patch.
    sub_s : float or array
        Length of one sub [s].
    subs : float or array
        Number of subs; 1 by default, because one exposure is what the equation of the literature describes.

    Returns
    -------
    float or array
        Signal-to-noise ratio. NaN where nothing at all is received: no light and no noise.

    Raises
    ------
    ValueError
        If a rate or the read noise is negative, or pixels, sub or number of subs is not positive.

    Notes
    -----
    S t √n / √(S t + p (b t + d t + R²)) for each sub of t seconds, p pixels and n subs. The background is
    taken as known exactly; fixed patterns, flats and quantisation are left out.

    References
    ----------
    Howell, S. B. (2006), Handbook of CCD Astronomy, 2nd ed., Cambridge, sec. 4.4; Merline, W. J. & Howell,
    S. B. (1995), Experimental Astronomy 6, 163; reference rows SNR-01a, SNR-03 and SNR-04.

    Examples
    --------
    >>> snr = snr_star(
    ...     star_e_s=50, sky_e_s_px=0.8, dark_e_s_px=0.1, read_noise_e=3, pixels=25, sub_s=60
    ... )
    >>> print(round(snr, 2))
    44.35
    """
    sub_s = positive("sub_s", sub_s)
    signal = not_negative("star_e_s", star_e_s) * sub_s
    rate = not_negative("sky_e_s_px", sky_e_s_px) + not_negative("dark_e_s_px", dark_e_s_px)
    per_pixel = rate * sub_s + not_negative("read_noise_e", read_noise_e) ** 2
    noise = np.sqrt(signal + positive("pixels", pixels) * per_pixel)
    signal = signal * np.sqrt(positive("subs", subs))
    with np.errstate(invalid="ignore"):
        return np.divide(signal, noise)


def snr_star_estimated(
    *,
    star_e_s,
    sky_e_s_px,
    dark_e_s_px,
    read_noise_e,
    pixels,
    background_pixels,
    gain_e_adu,
    sub_s,
    subs=1,
):
    """Signal-to-noise of a star whose background was itself measured, from pixels around it.

    Parameters
    ----------
    star_e_s : float or array
        Electrons of the object inside the patch [e⁻/s].
    sky_e_s_px : float or array
        Sky background [e⁻/s/px].
    dark_e_s_px : float or array
        Dark current [e⁻/s/px].
    read_noise_e : float or array
        Read noise of one pixel in one sub [e⁻].
    pixels : float or array
        Number of pixels in the patch.
    background_pixels : float or array
        Number of pixels from which the background was taken.
    gain_e_adu : float or array
        Electrons for one count, for the noise of rounding [e⁻/ADU].
    sub_s : float or array
        Length of one sub [s].
    subs : float or array
        Number of subs; 1 by default, because one exposure is what the equation of the literature describes.

    Returns
    -------
    float or array
        Signal-to-noise ratio. NaN where nothing at all is received.

    Raises
    ------
    ValueError
        If a rate or the read noise is negative, or pixels, gain, sub or number of subs is not positive.

    Notes
    -----
    S t √n/√(S t + p (1 + p/p_B)(b t + d t + R² + G²/12)). With as many background pixels as pixels the
    background's noise counts twice; with ten times as many, a tenth more.

    References
    ----------
    Merline, W. J. & Howell, S. B. (1995), A realistic model for point-sources imaged on array detectors,
    Experimental Astronomy 6, 163; reference row SNR-05.

    Examples
    --------
    >>> snr = snr_star_estimated(star_e_s=50, sky_e_s_px=0.8, dark_e_s_px=0.1, read_noise_e=3, pixels=25,
    ...                          background_pixels=200, gain_e_adu=1, sub_s=60)
    >>> print(round(snr, 2))
    43.42
    """
    rounding2 = positive("gain_e_adu", gain_e_adu) ** 2 / 12
    counted = positive("pixels", pixels)
    return snr_star(
        star_e_s=star_e_s,
        sky_e_s_px=sky_e_s_px,
        dark_e_s_px=dark_e_s_px,
        read_noise_e=np.sqrt(not_negative("read_noise_e", read_noise_e) ** 2 + rounding2),
        pixels=counted * (1 + counted / positive("background_pixels", background_pixels)),
        sub_s=sub_s,
        subs=subs,
    )


def snr_patch(*, object_e_s_px, sky_e_s_px, dark_e_s_px, read_noise_e, pixels, sub_s, subs=1):
    """Signal-to-noise of the mean brightness of an evenly glowing patch.

    Parameters
    ----------
    object_e_s_px : float or array
        Electrons of the object in one pixel [e⁻/s/px].
    sky_e_s_px : float or array
        Sky background [e⁻/s/px].
    dark_e_s_px : float or array
        Dark current [e⁻/s/px].
    read_noise_e : float or array
        Read noise of one pixel in one sub [e⁻].
    pixels : float or array
        Number of pixels that are averaged; 1 for the look of the picture at full size.
    sub_s : float or array
        Length of one sub [s].
    subs : float or array
        Number of subs; 1 by default, as in `snr_star`.

    Returns
    -------
    float or array
        Signal-to-noise ratio. NaN where nothing at all is received.

    Raises
    ------
    ValueError
        If a rate or the read noise is negative, or pixels, sub or number of subs is not positive.

    Notes
    -----
    o t √(n p)/√(o t + b t + d t + R²). Averaging 2 × 2 pixels doubles it and halves the detail. The background
    is known exactly; unevenness of sky and flat, which averaging does not lower, is left out, and rules beyond
    some thousand pixels.

    References
    ----------
    Howell, S. B. (2006), Handbook of CCD Astronomy, 2nd ed., sec. 4.4, with the star spread over the patch;
    reference row SNR-13.

    Examples
    --------
    >>> snr = snr_patch(object_e_s_px=0.05, sky_e_s_px=0.4761, dark_e_s_px=0.05, read_noise_e=1.5, pixels=1,
    ...                 sub_s=120, subs=100)
    >>> print(round(snr, 2))
    7.1
    """
    counted = positive("pixels", pixels)
    return snr_star(
        star_e_s=not_negative("object_e_s_px", object_e_s_px) * counted,
        sky_e_s_px=sky_e_s_px,
        dark_e_s_px=dark_e_s_px,
        read_noise_e=read_noise_e,
        pixels=counted,
        sub_s=sub_s,
        subs=subs,
    )


def faintest_star_e_s(*, snr, sky_e_s_px, dark_e_s_px, read_noise_e, pixels, sub_s, subs=1):
    """The faintest star that reaches a signal-to-noise in a stack: `snr_star` turned round.

    Parameters
    ----------
    snr : float or array
        Signal-to-noise to be reached; 3 is a glimpse, 5 a detection.
    sky_e_s_px : float or array
        Sky background [e⁻/s/px].
    dark_e_s_px : float or array
        Dark current [e⁻/s/px].
    read_noise_e : float or array
        Read noise of one pixel in one sub [e⁻].
    pixels : float or array
        Number of pixels in the patch.
    sub_s : float or array
        Length of one sub [s].
    subs : float or array
        Number of subs; 1 by default, as in `snr_star`.

    Returns
    -------
    float or array
        Light of the star [e⁻/s].

    Raises
    ------
    ValueError
        If snr, pixels, sub or number of subs is not positive, or a rate or the read noise is negative.

    Notes
    -----
    (q² + √(q⁴ + 4 q² N²))/(2 T) with q = snr, T the whole time and N² the noise of all but the star.

    References
    ----------
    Derivation: the quadratic S² T² = q² (S T + N²) solved for S; reference row SNR-11 (P. McGale, slides).

    Examples
    --------
    >>> star = faintest_star_e_s(snr=3, sky_e_s_px=1, dark_e_s_px=0, read_noise_e=0, pixels=1, sub_s=100)
    >>> print(round(star, 3))
    0.348
    """
    q2 = positive("snr", snr) ** 2
    sub, count = positive("sub_s", sub_s), positive("subs", subs)
    rate = not_negative("sky_e_s_px", sky_e_s_px) + not_negative("dark_e_s_px", dark_e_s_px)
    noise2 = positive("pixels", pixels) * (rate * sub + not_negative("read_noise_e", read_noise_e) ** 2)
    return (q2 + np.sqrt(q2**2 + 4 * q2 * count * noise2)) / (2 * sub * count)


def brightness_error_mag(snr):
    """The uncertainty of a brightness in magnitudes.

    Parameters
    ----------
    snr : float or array
        Signal-to-noise ratio.

    Returns
    -------
    float or array
        One sigma [mag].

    Raises
    ------
    ValueError
        If the ratio is not positive.

    Notes
    -----
    2.5/ln 10 / snr = 1.0857/snr. Below about 5 the error is lopsided and this is too small on the faint side.

    References
    ----------
    Newberry, M. V. (1991), PASP 103, 122; Howell (2006), sec. 5; reference row SNR-12.

    Examples
    --------
    >>> print(round(brightness_error_mag(10), 2))
    0.11
    """
    return 2.5 / np.log(10) / positive("snr", snr)
