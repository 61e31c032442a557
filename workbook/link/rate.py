"""How fast a link really is: assumed ranges, timed copies, and an experiment that finds a disturber."""

from __future__ import annotations

from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from workbook.checks import positive
from workbook.link.data import BITS_A_BYTE


class Throughput(NamedTuple):
    """What a link moves in practice: `low_mbit_s`, `central_mbit_s`, `high_mbit_s` [Mbit/s]; assumed."""

    low_mbit_s: float
    central_mbit_s: float
    high_mbit_s: float


class MeasuredRate(NamedTuple):
    """A link timed on several copies: `rate_mbit_s`, its `sigma_mbit_s` [Mbit/s], and the fixed `latency_s` [s]."""

    rate_mbit_s: float
    sigma_mbit_s: float
    latency_s: float


class RateChange(NamedTuple):
    """Two series of one link: `ratio` of the second to the first, its `sigma`, and whether they `differ`."""

    ratio: float
    sigma: float
    differ: bool


# Assumed, for the payload of files over a few metres: cables after coding and protocol, radio beside one wall
# with one neighbour on the channel. The range is wide since that is what people measure; time a copy of your own.
LINKS = MappingProxyType(
    {
        "usb 2 cable": Throughput(200.0, 280.0, 340.0),
        "usb 3 cable": Throughput(1500.0, 2800.0, 3600.0),
        "100 mbit cable": Throughput(80.0, 92.0, 95.0),
        "gigabit cable": Throughput(600.0, 900.0, 945.0),
        "2.4 ghz radio": Throughput(5.0, 25.0, 60.0),
        "5 ghz radio": Throughput(60.0, 200.0, 400.0),
    }
)

# Does the USB 3 cable disturb the radio? Change one thing, keep all else, ten copies each.
EXPERIMENT = (
    "Copy one frame ten times over the 2.4 GHz radio with the USB 3 device unplugged; note the seconds.",
    "Plug the device in and let it send data; copy ten times again.",
    "Move the antenna or its stick one metre away on an extension lead; copy ten times again.",
    "Go over to the 5 GHz band, or put the camera on a USB 2 port; copy ten times again.",
    "Compare each series with the first by link.rate_change. A cable in between ends the question.",
)


def measured_rate(*, sent_bytes, times_s):
    """The rate of a link from timed copies of files of several sizes.

    Parameters
    ----------
    sent_bytes : array
        Size of each copy, two sizes at least [bytes].
    times_s : array
        Time each took [s].

    Returns
    -------
    MeasuredRate
        Rate and its sigma [Mbit/s], and the fixed time of every copy [s].

    Raises
    ------
    ValueError
        If there are fewer than three copies or one size only, a number is not positive, or larger files are not
        slower.

    Notes
    -----
    Least squares of time = latency + 8 size/rate; sigma from the scatter. Copies that wait in a cache look faster
    than the link: use files that were not read before.

    References
    ----------
    Derivation: straight line through the timings.

    Examples
    --------
    >>> found = measured_rate(sent_bytes=[10e6, 20e6, 40e6], times_s=[2.5, 4.5, 8.5])
    >>> print(round(found.rate_mbit_s), round(found.latency_s, 2))
    40 0.5
    """
    bits = BITS_A_BYTE * np.atleast_1d(positive("sent_bytes", sent_bytes))
    times = np.atleast_1d(positive("times_s", times_s))
    if bits.shape != times.shape or bits.size < 3 or np.ptp(bits) == 0:
        raise ValueError("sent_bytes and times_s must hold three copies or more, of two sizes or more")
    spread = bits - bits.mean()
    slope = (spread * times).sum() / (spread**2).sum()
    if slope <= 0:
        raise ValueError(
            "times_s must grow with the size: were sizes and times mixed up, or the files cached?"
        )
    latency = times.mean() - slope * bits.mean()
    left = times - latency - slope * bits
    slope_sigma = np.sqrt((left**2).sum() / (bits.size - 2) / (spread**2).sum())
    rate = 1 / slope / 1e6
    return MeasuredRate(float(rate), float(rate * slope_sigma / slope), float(latency))


def rate_change(*, before_mbit_s, after_mbit_s):
    """Whether one change made a link faster or slower: the end of EXPERIMENT.

    Parameters
    ----------
    before_mbit_s : array
        Rates of several copies before the change [Mbit/s].
    after_mbit_s : array
        Rates after it [Mbit/s].

    Returns
    -------
    RateChange
        Ratio of the geometric means, its sigma, and whether it differs from 1 by more than three sigma.

    Raises
    ------
    ValueError
        If a series has fewer than three rates or one is not positive.

    Notes
    -----
    Mean and scatter of the logarithms, since a radio halves and doubles. Three sigma of a few copies are no proof:
    go back to the first state and see it return.

    References
    ----------
    Derivation: difference of two means, with Welch's variance.

    Examples
    --------
    >>> change = rate_change(before_mbit_s=[40, 42, 41, 39], after_mbit_s=[12, 9, 11, 14])
    >>> print(round(change.ratio, 2), change.differ)
    0.28 True
    """
    logs = []
    for name, series in (("before_mbit_s", before_mbit_s), ("after_mbit_s", after_mbit_s)):
        logs.append(np.log(np.atleast_1d(positive(name, series))))
        if logs[-1].size < 3:
            raise ValueError(f"{name} must hold three rates or more, received {logs[-1].size}")
    shift = logs[1].mean() - logs[0].mean()
    sigma = np.sqrt(sum(series.var(ddof=1) / series.size for series in logs))
    ratio = np.exp(shift)
    return RateChange(float(ratio), float(ratio * sigma), bool(abs(shift) > 3 * sigma))
