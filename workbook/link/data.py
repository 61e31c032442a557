"""How much data a night makes, how long a frame travels, and what waits at the mount."""

from __future__ import annotations

import numpy as np

from workbook.checks import fraction, not_negative, number, positive

BLOCK_BYTES, CARDS_A_BLOCK = 2880, 36  # FITS standard 4.0, sec. 3: blocks of 2880 bytes, 36 cards of 80 bytes
BITS_A_BYTE = 8
BYTES_A_GB = 1e9  # SI: a GiB is 2³⁰ bytes, 7 % more


def frame_bytes(*, width_px, height_px, bits, header_cards):
    """Size of one raw frame as a FITS file.

    Parameters
    ----------
    width_px, height_px : float or array
        Size of the sensor [px].
    bits : float or array
        Bits of each pixel in the file, 16 as a rule, whatever the converter has.
    header_cards : float or array
        Lines of the header, END included; up to 36 fill one block.

    Returns
    -------
    float or array
        Size of the file [bytes].

    Raises
    ------
    ValueError
        If a number is not positive.

    Notes
    -----
    Header and data are each filled up to whole blocks of 2880 bytes. No compression; without loss it takes 30 to 60 %
    off, less the more noise there is.

    References
    ----------
    FITS standard 4.0 (2018), sec. 3; reference rows DAT-01 and DAT-03.

    Examples
    --------
    >>> print(frame_bytes(width_px=1000, height_px=777, bits=16, header_cards=6))
    1558080.0
    """
    pixels = positive("width_px", width_px) * positive("height_px", height_px)
    data = pixels * positive("bits", bits, cure="8, 16 or 32") / BITS_A_BYTE
    header = np.ceil(positive("header_cards", header_cards) / CARDS_A_BLOCK)
    return (header + np.ceil(data / BLOCK_BYTES)) * BLOCK_BYTES


def frames_in_span(*, span_s, sub_s, overhead_s):
    """How many whole frames fit into a span of time.

    Parameters
    ----------
    span_s : float or array
        The span [s].
    sub_s : float or array
        Length of one sub [s].
    overhead_s : float or array
        Time lost after each, the share of dithers included [s].

    Returns
    -------
    float or array
        Number of frames.

    Raises
    ------
    ValueError
        If the sub is not positive or another value negative.

    Notes
    -----
    Floor of span/(sub + overhead).

    References
    ----------
    Derivation: counting; reference row DAT-07.

    Examples
    --------
    >>> print(frames_in_span(span_s=4 * 3600, sub_s=60, overhead_s=5))
    221.0
    """
    cycle = positive("sub_s", sub_s) + not_negative("overhead_s", overhead_s)
    return np.floor(not_negative("span_s", span_s) / cycle * (1 + 1e-12))


def night_data_gb(*, one_frame_bytes, frames):
    """Data of a night.

    Parameters
    ----------
    one_frame_bytes : float or array
        Size of one frame [bytes].
    frames : float or array
        Number of frames.

    Returns
    -------
    float or array
        Data [GB], of 10⁹ bytes.

    Raises
    ------
    ValueError
        If the size is not positive or the number negative.

    Notes
    -----
    Size × number / 10⁹. Half the sub length doubles it: many short subs cost room and time.

    References
    ----------
    Derivation: counting; reference row DAT-08.

    Examples
    --------
    >>> print(round(night_data_gb(one_frame_bytes=52188480, frames=221), 3))
    11.534
    """
    return positive("one_frame_bytes", one_frame_bytes) * not_negative("frames", frames) / BYTES_A_GB


def transfer_s(*, sent_bytes, rate_mbit_s, efficiency):
    """How long data travel over a link.

    Parameters
    ----------
    sent_bytes : float or array
        Size [bytes].
    rate_mbit_s : float or array
        Rate of the link: printed, or measured [Mbit/s].
    efficiency : float or array
        Share of it that carries the file; 1 for a measured rate or one out of LINKS.

    Returns
    -------
    float or array
        Time [s].

    Raises
    ------
    ValueError
        If size or rate is not positive or the share not above 0.

    Notes
    -----
    8 × bytes/(rate × share). Printed rates are in bits and without coding: "5 Gbit/s" with ten bits for eight moves
    at most 500 MB/s. The share of a radio is often below a half.

    References
    ----------
    Derivation: 8 bits are a byte; reference rows DAT-05 and DAT-06.

    Examples
    --------
    >>> print(round(transfer_s(sent_bytes=52188480, rate_mbit_s=480, efficiency=1), 3))
    0.87
    """
    share = positive("efficiency", fraction("efficiency", efficiency), cure="a link of 0 never arrives")
    bits = BITS_A_BYTE * positive("sent_bytes", sent_bytes)
    return bits / (positive("rate_mbit_s", rate_mbit_s) * 1e6 * share)


def backlog_gb(*, one_frame_bytes, rate_mbit_s, sub_s, overhead_s, span_s):
    """What waits at the mount when the night ends, because the link is slower than the camera.

    Parameters
    ----------
    one_frame_bytes : float or array
        Size of one frame [bytes].
    rate_mbit_s : float or array
        Rate that the link really moves [Mbit/s].
    sub_s : float or array
        Length of one sub [s].
    overhead_s : float or array
        Time lost after each [s].
    span_s : float or array
        Length of the session [s].

    Returns
    -------
    float or array
        Data not yet moved at the end [GB]; 0 where the link keeps up, but for the last frame.

    Raises
    ------
    ValueError
        If a number that must be positive is not.

    Notes
    -----
    frames × size − rate × (span − first sub), at least the last frame of the night. What waits needs a card at the
    mount, or the camera must wait.

    References
    ----------
    Derivation: what is made less what is moved; reference rows DAT-05, DAT-07 and DAT-08.

    Examples
    --------
    >>> print(round(backlog_gb(
    ...     one_frame_bytes=22.4e6, rate_mbit_s=5, sub_s=20, overhead_s=5, span_s=4 * 3600), 2))
    3.91
    """
    frames = frames_in_span(span_s=span_s, sub_s=sub_s, overhead_s=overhead_s)
    made = night_data_gb(one_frame_bytes=one_frame_bytes, frames=frames)
    rate_gb_s = positive("rate_mbit_s", rate_mbit_s) * 1e6 / BITS_A_BYTE / BYTES_A_GB
    moved = rate_gb_s * np.maximum(0.0, number("span_s", span_s) - number("sub_s", sub_s))
    last = np.minimum(made, number("one_frame_bytes", one_frame_bytes) / BYTES_A_GB)
    return np.maximum(made - moved, last)[()]
