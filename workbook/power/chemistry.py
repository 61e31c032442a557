"""Chemistries: voltages, cold, discharge curve and charging of a cell, each with its range.

The numbers are assumed, not measured: nominal and end voltages follow the standards named beside them, the
rest is the order of magnitude of handbooks (Linden & Reddy 2011, Handbook of Batteries, 4th ed., McGraw-Hill,
ch. 11, 14, 16, 22, 26; recalled), for the moderate drain of a night, 5 to 20 hours. Cells of one kind differ by
as much as the ranges say. Measure your own: charge, leave it in the cold, and time a known load.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from workbook.checks import between, chosen, fraction, positive


class Span(NamedTuple):
    """A value with the range in which most cells of the kind lie."""

    low: float
    central: float
    high: float


class Chemistry(NamedTuple):
    """One kind of cell.

    `words` names it, `nominal_v` is printed on it, `fresh_v` it has off the charger or out of the box, at
    `empty_v` it is spent [V]. `cold` holds low, central and high shares of charge at COLD_DEGC, `curve` pairs of
    charge drawn and voltage [V], `peukert` its exponent, `charge_return` the share of the charger's energy that
    comes out again (zeros: a primary cell), `charge_low_degc` and `charge_high_degc` where it may be charged [°C].
    """

    words: str
    nominal_v: float
    fresh_v: float
    empty_v: float
    cold: tuple
    curve: tuple
    peukert: Span
    charge_return: Span
    charge_low_degc: float
    charge_high_degc: float


COLD_DEGC = (-20.0, -10.0, 0.0, 20.0)
ROOM_DEGC = 20.0
PRIMARY = Span(0.0, 0.0, 0.0)

CHEMISTRIES = MappingProxyType(
    {
        # IEC 60086-2: 1.5 V nominal, end point 0.8 to 1.0 V in the tests of size LR6
        "alkaline": Chemistry(
            "alkaline, for one use", 1.5, 1.6, 0.9,
            ((0.1, 0.2, 0.35), (0.3, 0.5, 0.65), (0.55, 0.7, 0.85), (1.0, 1.0, 1.0)),
            ((0, 1.55), (0.05, 1.45), (0.2, 1.33), (0.4, 1.24), (0.6, 1.17), (0.8, 1.08), (0.95, 0.97), (1, 0.9)),
            Span(1.1, 1.2, 1.4), PRIMARY, np.nan, np.nan,
        ),
        # IEC 61951-2: 1.2 V nominal, rated down to 1.0 V at 0.2 C and 20 °C, charged 16 h at 0.1 C
        "nimh": Chemistry(
            "nickel-metal hydride, rechargeable", 1.2, 1.42, 1.0,
            ((0.4, 0.6, 0.8), (0.65, 0.8, 0.9), (0.8, 0.9, 0.95), (1.0, 1.0, 1.0)),
            ((0, 1.40), (0.05, 1.32), (0.1, 1.28), (0.5, 1.24), (0.8, 1.20), (0.9, 1.16), (1, 1.0)),
            Span(1.0, 1.03, 1.08), Span(0.55, 0.66, 0.75), 0.0, 45.0,
        ),
        # IEC 60086-2: 1.5 V nominal (size FR6); open circuit up to 1.83 V
        "lithium primary": Chemistry(
            "lithium-iron disulfide, for one use", 1.5, 1.8, 0.9,
            ((0.75, 0.85, 0.95), (0.88, 0.93, 0.98), (0.93, 0.97, 1.0), (1.0, 1.0, 1.0)),
            ((0, 1.75), (0.05, 1.60), (0.3, 1.52), (0.7, 1.45), (0.9, 1.38), (0.97, 1.25), (1, 0.9)),
            Span(1.0, 1.02, 1.05), PRIMARY, np.nan, np.nan,
        ),
        "iron phosphate": Chemistry(
            "lithium iron phosphate pack", 3.2, 3.6, 2.5,
            ((0.4, 0.55, 0.7), (0.6, 0.75, 0.85), (0.8, 0.9, 0.95), (1.0, 1.0, 1.0)),
            ((0, 3.40), (0.05, 3.30), (0.5, 3.25), (0.9, 3.15), (0.97, 3.0), (1, 2.5)),
            Span(1.0, 1.03, 1.06), Span(0.85, 0.92, 0.96), 0.0, 45.0,
        ),
        "lithium ion": Chemistry(
            "lithium-ion pack", 3.6, 4.2, 3.0,
            ((0.45, 0.6, 0.75), (0.65, 0.77, 0.85), (0.8, 0.88, 0.95), (1.0, 1.0, 1.0)),
            ((0, 4.15), (0.1, 4.02), (0.3, 3.85), (0.5, 3.70), (0.7, 3.60), (0.9, 3.40), (0.97, 3.2), (1, 3.0)),
            Span(1.0, 1.04, 1.08), Span(0.85, 0.92, 0.96), 0.0, 45.0,
        ),
        # IEC 60896 and its relatives: 2 V nominal, rated to 1.75 or 1.8 V in 20 h; cold after lead_cold_share
        "lead": Chemistry(
            "lead-acid, sealed", 2.0, 2.15, 1.75,
            ((0.63, 0.73, 0.8), (0.72, 0.79, 0.86), (0.8, 0.85, 0.9), (1.0, 1.0, 1.0)),
            ((0, 2.11), (0.2, 2.07), (0.5, 2.02), (0.8, 1.93), (0.95, 1.83), (1, 1.75)),
            Span(1.1, 1.2, 1.4), Span(0.65, 0.72, 0.8), -15.0, 45.0,
        ),
    }
)  # fmt: skip

# Charge of one AA cell at 20 °C and 0.1 to 0.3 A [Ah]: what shops sell, not the best of them.
AA_AH = MappingProxyType(
    {
        "alkaline": Span(1.8, 2.2, 2.6),
        "nimh": Span(1.8, 2.0, 2.5),
        "lithium primary": Span(2.7, 3.0, 3.3),
    }
)


def cold_share(*, chemistry, temperature_degc):
    """The share of a battery's charge that is left at the temperature of its cells.

    Parameters
    ----------
    chemistry : str
        A name in CHEMISTRIES.
    temperature_degc : float or array
        Temperature of the cells, which lags the air by hours where they are wrapped [°C].

    Returns
    -------
    Span
        Low, central and high share against 20 °C.

    Raises
    ------
    ValueError
        If the chemistry is unknown or the temperature lies outside −20 to 50 °C.

    Notes
    -----
    Straight lines between −20, −10, 0 and 20 °C, 1 above. The charge is not lost: it comes back when the cells
    are warm again. For a drain of 5 to 20 hours; a fast drain in the cold takes more.

    References
    ----------
    Linden & Reddy (2011), Handbook of Batteries, 4th ed. (recalled), as ranges; for lead reference row PWR-13.

    Examples
    --------
    >>> cold_share(chemistry="nimh", temperature_degc=0)
    Span(low=0.8, central=0.9, high=0.95)
    """
    about = _about(chemistry)
    cells = between("temperature_degc", temperature_degc, -20, 50, cure="no share is known beyond")
    columns = np.array(about.cold).T
    return Span(*(_along(cells, COLD_DEGC, column) for column in columns))


def cell_voltage_v(*, chemistry, drawn):
    """The voltage of one cell on its way down, under the moderate load of a night.

    Parameters
    ----------
    chemistry : str
        A name in CHEMISTRIES.
    drawn : float or array
        Share of its charge that has been drawn.

    Returns
    -------
    float or array
        Voltage [V].

    Raises
    ------
    ValueError
        If the chemistry is unknown or the share lies outside 0 to 1.

    Notes
    -----
    Straight lines through the table of the chemistry, good to about 0.05 V for AA cells and 0.1 V for packs. In
    the cold and under a heavier load the whole curve lies lower.

    References
    ----------
    Linden & Reddy (2011), Handbook of Batteries, 4th ed. (recalled); end voltage of NiMH: IEC 61951-2, reference
    row PWR-09.

    Examples
    --------
    >>> print(round(cell_voltage_v(chemistry="alkaline", drawn=0.4), 2))
    1.24
    """
    return _along(fraction("drawn", drawn), *np.array(_about(chemistry).curve).T)


def drawn_at_voltage(*, chemistry, cell_v):
    """The share of a cell's charge that has come out when its voltage has fallen this far.

    Parameters
    ----------
    chemistry : str
        A name in CHEMISTRIES.
    cell_v : float or array
        Voltage of one cell under load [V].

    Returns
    -------
    float or array
        Share, 0 where the cell starts lower, 1 where the voltage lies below the empty cell's.

    Raises
    ------
    ValueError
        If the chemistry is unknown or the voltage is not positive.

    Notes
    -----
    The inverse of cell_voltage_v. A device that stops at 1.2 V a cell leaves half of an alkaline cell unused.

    References
    ----------
    Derivation: cell_voltage_v turned round.

    Examples
    --------
    >>> print(round(drawn_at_voltage(chemistry="alkaline", cell_v=1.2), 2))
    0.51
    """
    share, volts = np.array(_about(chemistry).curve).T
    return _along(positive("cell_v", cell_v), volts[::-1], share[::-1])


def _about(chemistry):
    return CHEMISTRIES[chosen("chemistry", chemistry, tuple(CHEMISTRIES))]


def _along(x, points, values):
    found = np.interp(x, points, values)
    return float(found) if np.ndim(found) == 0 else found
