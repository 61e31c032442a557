"""Why a radio goes deaf: channels that overlap, the noise of a fast data cable, and distance."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, positive

LIGHT_LOSS_DB = 32.45  # ITU-R P.525: free-space loss at 1 km and 1 MHz, 20 log₁₀(4π · 1000 m · 1 MHz/c)


def band_overlap(*, centre_mhz, width_mhz, other_centre_mhz, other_width_mhz):
    """The share of one channel that another one covers.

    Parameters
    ----------
    centre_mhz, width_mhz : float or array
        Middle and width of the own channel [MHz].
    other_centre_mhz, other_width_mhz : float or array
        Middle and width of the other [MHz].

    Returns
    -------
    float or array
        Share, 0 … 1.

    Raises
    ------
    ValueError
        If a number is not positive.

    Notes
    -----
    Common part / own width. In the 2.4 GHz band channel n lies at 2407 + 5 n MHz and is 20 MHz wide, so only every
    fourth or fifth is free of the next. Skirts outside the nominal width are ignored.

    References
    ----------
    IEEE 802.11-2020, sec. 15 and 17 (channel centres); derivation: two intervals.

    Examples
    --------
    >>> print(band_overlap(centre_mhz=2412, width_mhz=20, other_centre_mhz=2422, other_width_mhz=20))
    0.5
    """
    own, other = positive("width_mhz", width_mhz), positive("other_width_mhz", other_width_mhz)
    apart = np.abs(positive("centre_mhz", centre_mhz) - positive("other_centre_mhz", other_centre_mhz))
    common = np.minimum((own + other) / 2 - apart, np.minimum(own, other))
    return (np.maximum(common, 0.0) / own)[()]


def signal_noise_db(*, frequency_mhz, rate_mbit_s):
    """How much of the noise of a fast data cable falls on a frequency.

    Parameters
    ----------
    frequency_mhz : float or array
        Frequency [MHz].
    rate_mbit_s : float or array
        Rate of the bits on the wire: 5000 for USB 3, 480 for USB 2 [Mbit/s].

    Returns
    -------
    float or array
        Power density against that at the lowest frequencies [dB]; minus infinity in the notches.

    Raises
    ------
    ValueError
        If a number is not positive.

    Notes
    -----
    20 log₁₀|sin(π f/R)/(π f/R)|, random square bits. At 5 Gbit/s the first notch lies at 5 GHz: 2.4 GHz is inside
    the main lobe, a bare −4 dB, and no filter can take it away since it is the radio's own band. Why USB 2 is quiet
    there and the 5 GHz band is better: both lie where the lobes are low. Shielding and distance decide what is left.

    References
    ----------
    Power spectrum of a random binary signal (Proakis & Salehi 2008, Digital Communications, 5th ed., sec. 3.4);
    "USB 3.0 radio frequency interference impact on 2.4 GHz wireless devices", white paper 327216 (2012).

    Examples
    --------
    >>> print(round(signal_noise_db(frequency_mhz=2440, rate_mbit_s=5000), 1))
    -3.7
    """
    turns = positive("frequency_mhz", frequency_mhz) / positive("rate_mbit_s", rate_mbit_s)
    with np.errstate(divide="ignore"):
        return 20 * np.log10(np.abs(np.sinc(turns)))


def path_loss_db(*, distance_m, frequency_mhz):
    """What free air takes from a radio signal.

    Parameters
    ----------
    distance_m : float or array
        Distance of the antennas, a metre or more [m].
    frequency_mhz : float or array
        Frequency [MHz].

    Returns
    -------
    float or array
        Loss between antennas that radiate evenly [dB].

    Raises
    ------
    ValueError
        If the frequency is not positive or the distance below 0.3 m.

    Notes
    -----
    32.45 + 20 log₁₀(f/MHz) + 20 log₁₀(d/km): double the distance, 6 dB. A wall takes 3 to 10 dB more, concrete or
    metal film on glass 10 to 30. The same rule helps against noise: move the disturber away, not the friend.

    References
    ----------
    Recommendation ITU-R P.525-4 (2019), eq. 4.

    Examples
    --------
    >>> print(round(path_loss_db(distance_m=10, frequency_mhz=2440), 1))
    60.2
    """
    distance = between("distance_m", distance_m, 0.3, 1e6, cure="nearer, antennas are one device")
    megahertz = positive("frequency_mhz", frequency_mhz)
    return LIGHT_LOSS_DB + 20 * np.log10(megahertz) + 20 * np.log10(distance / 1000)
