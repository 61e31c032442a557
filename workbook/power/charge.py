"""Before and between the nights: charging time, and the packs that travel."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, fraction, positive
from workbook.power.chemistry import Span, _about

# Watt-hours of one lithium pack above which air carriers ask for approval, and above which none goes in the
# cabin: IATA Dangerous Goods Regulations, table 2.3.A (recalled; reference row PWR-15 quotes the limits). Rules
# change and differ: this is a pointer to the carrier, not advice.
ASK_ABOVE_WH, NEVER_ABOVE_WH = 100.0, 160.0


class Travel(NamedTuple):
    """Packs for a journey: `pack_wh` each [Wh], `count`, `total_wh` [Wh], and `words` that point to the carrier."""

    pack_wh: float
    count: int
    total_wh: float
    words: str


def charging_h(*, chemistry, energy_wh, missing, charger_w, cell_degc):
    """How long a charger takes to fill a battery.

    Parameters
    ----------
    chemistry : str
        A name in CHEMISTRIES.
    energy_wh : float or array
        Energy on the nameplate [Wh].
    missing : float or array
        Share that has been drawn.
    charger_w : float or array
        Power that the charger gives the battery, not what it takes from the wall [W].
    cell_degc : float or array
        Temperature of the cells; a pack from the frost needs hours indoors to warm through [°C].

    Returns
    -------
    Span
        Low, central and high time [h].

    Raises
    ------
    ValueError
        If the cells are primary cells, too cold or too warm to be charged, or a number is impossible.

    Notes
    -----
    energy × missing / (charger × return). Lithium and lead take the last tenth slowly: the high end holds for a
    full charge, the low end for nine tenths. Never charge a lithium pack below 0 °C: metal plates out inside.

    References
    ----------
    IEC 61951-2 (NiMH: 16 h at 0.1 C, so 1.6 Ah in for 1 Ah out, end of the range); the returns of CHEMISTRIES.

    Examples
    --------
    >>> hours = charging_h(chemistry="iron phosphate", energy_wh=96, missing=0.8, charger_w=40, cell_degc=15)
    >>> print([round(float(h), 1) for h in hours])
    [2.0, 2.1, 2.3]
    """
    about = _about(chemistry)
    if not about.charge_return.high:
        raise ValueError(
            f"{chemistry} cells are for one use and must not be charged: use nimh in the same size"
        )
    between(
        "cell_degc",
        cell_degc,
        about.charge_low_degc,
        about.charge_high_degc,
        cure=f"charging {chemistry} cells outside that ruins them, or worse: bring them indoors first",
    )
    energy = positive("energy_wh", energy_wh) * fraction("missing", missing) + 0.0 * np.asarray(cell_degc)
    power = positive("charger_w", charger_w)
    low, central, high = about.charge_return
    return Span(*((energy / (power * share))[()] for share in (high, central, low)))


def travel(*, pack_wh, count):
    """What the watt-hours of packs mean at an airport: a pointer to the carrier, not advice.

    Parameters
    ----------
    pack_wh : float
        Energy of one pack, as printed [Wh].
    count : int
        How many packs.

    Returns
    -------
    Travel
        Energy of each and of all [Wh], and what to ask, in words.

    Raises
    ------
    ValueError
        If the energy is not positive or the count is no whole number above 0.

    Notes
    -----
    The line runs through each pack, not through their sum: four packs of 96 Wh are below it, one of 128 Wh is
    not. Ampere-hours need the pack's own voltage: 20 Ah of cells at 3.6 V are 72 Wh.

    References
    ----------
    IATA Dangerous Goods Regulations, table 2.3.A (recalled), quoted by carriers; reference row PWR-15.

    Examples
    --------
    >>> print(travel(pack_wh=96, count=2).words)
    96 Wh each is up to 100 Wh: usual in cabin baggage. Your carrier decides, also on the count (2): ask it.
    """
    energy = positive("pack_wh", pack_wh)
    n = between("count", count, 1, 1000)
    if n != round(n):
        raise ValueError(f"count must be a whole number, received {n:g}")
    if energy <= ASK_ABOVE_WH:
        rule = f"is up to {ASK_ABOVE_WH:g} Wh: usual in cabin baggage"
    elif energy <= NEVER_ABOVE_WH:
        rule = f"is above {ASK_ABOVE_WH:g} Wh: needs the carrier's approval before you fly"
    else:
        rule = f"is above {NEVER_ABOVE_WH:g} Wh: as a rule neither cabin nor hold"
    words = f"{energy:g} Wh each {rule}. Your carrier decides, also on the count ({n:g}): ask it."
    return Travel(energy, int(n), energy * n, words)
