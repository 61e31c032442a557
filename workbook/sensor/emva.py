"""A sensor in the terms of EMVA 1288: steps of its counts, noise in the dark, threshold, dynamic range."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, positive


def dynamic_range_db(*, saturation_e, threshold_e):
    """From the faintest light to the brightest that one exposure can tell apart.

    Parameters
    ----------
    saturation_e : float or array
        Electrons at saturation [e⁻].
    threshold_e : float or array
        Sensitivity threshold: the signal at which signal-to-noise is 1 [e⁻].

    Returns
    -------
    float or array
        Dynamic range [dB].

    Raises
    ------
    ValueError
        If a value is not positive.

    Notes
    -----
    20 log₁₀(saturation/threshold). The threshold is larger than the read noise: with noise σ it is
    √(σ² + ¼) + ½. One stop (a factor of 2) is 6.02 dB.

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), Characterization of image sensors and cameras, dynamic range;
    reference rows DET-03 and DET-06.

    Examples
    --------
    >>> print(round(dynamic_range_db(saturation_e=13000, threshold_e=2.2), 1))
    75.4
    """
    saturation = positive("saturation_e", saturation_e)
    return 20 * np.log10(saturation / positive("threshold_e", threshold_e))


# Noise of rounding to whole counts, in counts: 1/√12 (EMVA 1288, σ_q² = 1/12; reference row DET-01).
QUANTISATION_ADU = 1 / np.sqrt(12)


def quantisation_noise_e(*, gain_e_adu):
    """The noise of rounding to whole counts, in electrons.

    Parameters
    ----------
    gain_e_adu : float or array
        Electrons for one count [e⁻/ADU].

    Returns
    -------
    float or array
        Noise, one sigma [e⁻].

    Raises
    ------
    ValueError
        If the gain is not positive.

    Notes
    -----
    gain/√12. True while the other noise is above half a count; below that, rounding makes steps, not noise.

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), σ_q² = 1/12; reference rows DET-01 and DET-14.

    Examples
    --------
    >>> print(round(quantisation_noise_e(gain_e_adu=0.8), 3))
    0.231
    """
    return positive("gain_e_adu", gain_e_adu) * QUANTISATION_ADU


def dark_noise_of_counts_e(*, dark_noise_adu, gain_e_adu):
    """Noise in the dark without the share of rounding, in electrons.

    Parameters
    ----------
    dark_noise_adu : float or array
        Measured noise of a pixel in the dark [ADU].
    gain_e_adu : float or array
        Electrons for one count [e⁻/ADU].

    Returns
    -------
    float or array
        Noise, one sigma [e⁻].

    Raises
    ------
    ValueError
        If the gain is not positive, or the noise is smaller than that of rounding.

    Notes
    -----
    gain · √(σ_y² − 1/12). The standard counts its gain K the other way round, in counts for one electron.

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), temporal dark noise; reference row DET-02.

    Examples
    --------
    >>> print(round(dark_noise_of_counts_e(dark_noise_adu=2.0, gain_e_adu=2.0), 3))
    3.958
    """
    noise2 = not_negative("dark_noise_adu", dark_noise_adu) ** 2 - QUANTISATION_ADU**2
    if np.any(np.asarray(noise2) < 0):
        raise ValueError(
            f"dark_noise_adu must be {QUANTISATION_ADU:.3f} ADU or more, received {np.nanmin(dark_noise_adu):g} "
            "ADU: rounding alone makes that much"
        )
    return positive("gain_e_adu", gain_e_adu) * np.sqrt(noise2)


def sensitivity_threshold_e(*, dark_noise_e):
    """The faintest signal of one pixel and one exposure: where signal-to-noise is 1.

    Parameters
    ----------
    dark_noise_e : float or array
        All noise in the dark, rounding included [e⁻].

    Returns
    -------
    float or array
        Signal [e⁻].

    Raises
    ------
    ValueError
        If the noise is negative.

    Notes
    -----
    √(σ² + ¼) + ½, from μ = √(σ² + μ). The approximation σ + ½ is 0.03 e⁻ lower at σ = 4.

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), absolute sensitivity threshold; reference rows DET-03 and DET-04.

    Examples
    --------
    >>> print(round(sensitivity_threshold_e(dark_noise_e=1.6), 2))
    2.18
    """
    return np.sqrt(not_negative("dark_noise_e", dark_noise_e) ** 2 + 0.25) + 0.5


def dynamic_range_stops(*, saturation_e, threshold_e):
    """The dynamic range in stops, as photographers count: factors of two.

    Parameters
    ----------
    saturation_e : float or array
        Electrons at saturation [e⁻].
    threshold_e : float or array
        Sensitivity threshold: the signal at which signal-to-noise is 1 [e⁻].

    Returns
    -------
    float or array
        Number of stops.

    Raises
    ------
    ValueError
        If a value is not positive.

    Notes
    -----
    log₂(saturation/threshold). Over the read noise instead of the threshold it would come out larger.

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), dynamic range; reference row DET-06.

    Examples
    --------
    >>> print(round(dynamic_range_stops(saturation_e=15000, threshold_e=4.5), 2))
    11.7
    """
    return dynamic_range_db(saturation_e=saturation_e, threshold_e=threshold_e) / (20 * np.log10(2))


def largest_snr(*, saturation_e):
    """The best signal-to-noise that one pixel of one exposure can have.

    Parameters
    ----------
    saturation_e : float or array
        Electrons at saturation [e⁻].

    Returns
    -------
    float or array
        Signal-to-noise ratio; 20 log₁₀ of it is its value in decibels.

    Raises
    ------
    ValueError
        If the saturation is not positive.

    Notes
    -----
    √μ: photon noise alone, of a pixel just below saturation. Unevenness of the pixels is left out.

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), maximum signal-to-noise ratio; reference row DET-07.

    Examples
    --------
    >>> print(round(largest_snr(saturation_e=13000)))
    114
    """
    return np.sqrt(positive("saturation_e", saturation_e))


def saturation_e(*, full_well_e, gain_e_adu, offset_adu, adc_bits):
    """Where a pixel really ends: at its full well or at the largest count, whichever comes first.

    Parameters
    ----------
    full_well_e : float or array
        Electrons that the pixel can hold [e⁻].
    gain_e_adu : float or array
        Electrons for one count [e⁻/ADU].
    offset_adu : float or array
        Count of a pixel without light [ADU].
    adc_bits : float or array
        Bits of the converter.

    Returns
    -------
    float or array
        Electrons at saturation [e⁻].

    Raises
    ------
    ValueError
        If full well or gain is not positive, the offset is negative or above the largest count, or the bits lie
        outside 1 to 24.

    Notes
    -----
    min(full well, gain (2^bits − 1 − offset)). A high amplification (few electrons a count) brings the end of
    the counts below the full well: that is what a high gain setting costs.

    References
    ----------
    EMVA Standard 1288, release 4.0 (2021), saturation capacity; reference row DET-14 for the step of a 12-bit
    converter.

    Examples
    --------
    >>> print(round(saturation_e(full_well_e=13000, gain_e_adu=0.8, offset_adu=500, adc_bits=14)))
    12706
    """
    largest = 2 ** between("adc_bits", adc_bits, 1, 24, cure="a converter has 8 to 16 bits") - 1
    counts = positive(
        "offset_adu",
        largest - not_negative("offset_adu", offset_adu),
        cure="the offset must be below the largest count",
    )
    return np.minimum(positive("full_well_e", full_well_e), positive("gain_e_adu", gain_e_adu) * counts)
