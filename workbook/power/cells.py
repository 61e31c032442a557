"""Cells in a row: energy, run time, the voltage they make, and whether the mount's input accepts it."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from workbook.checks import between, fraction, positive
from workbook.power.chemistry import (
    AA_AH,
    CHEMISTRIES,
    Span,
    _about,
    cell_voltage_v,
    cold_share,
    drawn_at_voltage,
)

CURVE_STEPS = 200  # steps along the discharge curve; 20 of them change the energy by less than 0.2 %


class SeriesVoltage(NamedTuple):
    """Voltages of a row of cells: printed `nominal_v`, `fresh_v`, spent `empty_v` [V]."""

    nominal_v: float
    fresh_v: float
    empty_v: float


class InputFit(NamedTuple):
    """A row of cells on an input: `nominal_v`, `fresh_v`, `empty_v` [V], the share of charge that comes out.

    `reached` is below 1 where the input switches off before the cells are spent.
    """

    nominal_v: float
    fresh_v: float
    empty_v: float
    reached: float


class CellRow(NamedTuple):
    """One chemistry in a row of AA cells: voltages [V], energy that comes out in the cold [Wh], run time [h].

    `energy_wh` and `hours_h` are spans of low, central, high; `refused` says in words why an input does not
    accept the row, or is empty.
    """

    chemistry: str
    nominal_v: float
    fresh_v: float
    empty_v: float
    reached: float
    energy_wh: Span
    hours_h: Span
    refused: str


def cells_energy_wh(*, cells, cell_v, cell_ah):
    """Nameplate energy of equal cells, in a row or side by side.

    Parameters
    ----------
    cells : float or array
        Number of cells.
    cell_v : float or array
        Nominal voltage of one cell [V].
    cell_ah : float or array
        Capacity of one cell [Ah].

    Returns
    -------
    float or array
        Energy [Wh].

    Raises
    ------
    ValueError
        If a value is not positive.

    Notes
    -----
    n · V · Ah. Ampere-hours alone are no energy: they count only together with the voltage.

    References
    ----------
    Derivation: energy is charge times voltage; nominal 1.2 V of a NiMH cell from IEC 61951-2; reference rows
    PWR-08 and PWR-15.

    Examples
    --------
    >>> print(round(cells_energy_wh(cells=8, cell_v=1.2, cell_ah=2.0), 1))
    19.2
    """
    volts = positive("cells", cells) * positive("cell_v", cell_v)
    return volts * positive("cell_ah", cell_ah, cure="did you pass milliampere-hours? 2000 mAh are 2 Ah")


def runtime_h(*, energy_wh, usable, cold, converter, load_w):
    """How long a battery carries a load.

    Parameters
    ----------
    energy_wh : float or array
        Energy on the nameplate [Wh].
    usable : float or array
        Share that may be drawn before the pack switches off or takes harm.
    cold : float or array
        Share that is left at the temperature of the night.
    converter : float or array
        Share that passes the voltage converter; 1 without one.
    load_w : float or array
        Power at the devices [W].

    Returns
    -------
    float or array
        Run time [h].

    Raises
    ------
    ValueError
        If energy or load is not positive, or a share lies outside 0 to 1.

    Notes
    -----
    energy × usable × cold × converter / load. Ignores that fast discharge costs some chemistries extra, and
    loss in the lead.

    References
    ----------
    Derivation: energy balance; reference row PWR-14.

    Examples
    --------
    >>> print(round(runtime_h(energy_wh=96, usable=0.9, cold=0.85, converter=0.95, load_w=11.5), 1))
    6.1
    """
    shares = fraction("usable", usable) * fraction("cold", cold) * fraction("converter", converter)
    return (
        positive("energy_wh", energy_wh)
        * shares
        / positive("load_w", load_w, cure="a load of 0 W never ends")
    )


def series_voltage_v(*, chemistry, cells):
    """The voltages that cells in a row make.

    Parameters
    ----------
    chemistry : str
        A name in CHEMISTRIES.
    cells : float or array
        Number of cells in the row.

    Returns
    -------
    SeriesVoltage
        Printed, fresh and empty voltage [V].

    Raises
    ------
    ValueError
        If the chemistry is unknown or the number is not positive.

    Notes
    -----
    n × voltage of a cell. The trap: a holder for eight cells makes 12 V with cells for one use, and 9.6 V with
    rechargeable ones.

    References
    ----------
    IEC 61951-2 (NiMH, 1.2 V) and IEC 60086-2 (1.5 V); reference rows PWR-08 and PWR-09.

    Examples
    --------
    >>> print(round(series_voltage_v(chemistry="nimh", cells=8).nominal_v, 1))
    9.6
    """
    about, n = _about(chemistry), positive("cells", cells)
    return SeriesVoltage(n * about.nominal_v, n * about.fresh_v, n * about.empty_v)


def input_fit_v(*, chemistry, cells, lowest_v, highest_v):
    """Whether an input accepts a row of cells, from fresh to empty; one clear line where it does not.

    Parameters
    ----------
    chemistry : str
        A name in CHEMISTRIES.
    cells : int
        Number of cells in the row.
    lowest_v : float
        Lowest voltage the input accepts [V].
    highest_v : float
        Highest voltage the input accepts [V].

    Returns
    -------
    InputFit
        Voltages of the row [V], and the share of its charge that comes out above the lowest voltage.

    Raises
    ------
    ValueError
        If fresh cells would exceed the highest voltage, if cells at their nominal voltage do not reach the lowest,
        or if a number is impossible.

    Notes
    -----
    fresh ≤ highest and nominal ≥ lowest. A short peak above the highest voltage can destroy an input: fresh cells
    count without load. The lead's drop is left out, see load_voltage_v.

    References
    ----------
    Derivation: series_voltage_v against the limits of the input; voltages from IEC 61951-2 and IEC 60086-2.

    Examples
    --------
    >>> fit = input_fit_v(chemistry="nimh", cells=8, lowest_v=7.5, highest_v=14)
    >>> print(round(fit.nominal_v, 1), fit.reached)
    9.6 1.0
    """
    row = series_voltage_v(chemistry=chemistry, cells=_whole("cells", cells))
    refused = _refusal(chemistry, cells, row, *_limits(lowest_v, highest_v))
    if refused:
        raise ValueError(refused)
    reached = drawn_at_voltage(chemistry=chemistry, cell_v=lowest_v / cells)
    return InputFit(*row, float(reached))


def compare_aa(*, cells, temperature_degc, load_w, lowest_v, highest_v):
    """AA cells of each chemistry in the same holder, in the cold, on the same input.

    Parameters
    ----------
    cells : int
        Number of cells in the row.
    temperature_degc : float
        Temperature of the cells [°C].
    load_w : float
        Mean power that the row feeds [W].
    lowest_v : float
        Lowest voltage the input accepts [V].
    highest_v : float
        Highest voltage the input accepts [V].

    Returns
    -------
    tuple of CellRow
        Alkaline, NiMH and lithium primary: voltages, energy above the lowest voltage as low, central and high, run
        time, and why the input refuses the row; the units stand in CellRow.

    Raises
    ------
    ValueError
        If a number is impossible or the temperature lies outside −20 to 50 °C.

    Notes
    -----
    Energy = n · Ah · cold share · ∫ V dq along the discharge curve, down to lowest voltage / n. AA is a size, not
    an energy. Low and high take charge and cold share at the same end, so that they bracket generously.

    References
    ----------
    CHEMISTRIES and AA_AH with their sources; derivation: charge times voltage, summed along the curve.

    Examples
    --------
    >>> for row in compare_aa(cells=8, temperature_degc=0, load_w=1.2, lowest_v=7.5, highest_v=14):
    ...     print(row.chemistry, round(row.nominal_v, 1), round(row.hours_h.central, 1), bool(row.refused))
    alkaline 12.0 12.1 False
    nimh 9.6 14.7 False
    lithium primary 12.0 28.6 True
    """
    load, n = positive("load_w", load_w), _whole("cells", cells)
    limits = _limits(lowest_v, highest_v)
    rows = []
    for chemistry, charge_ah in AA_AH.items():
        voltages = series_voltage_v(chemistry=chemistry, cells=n)
        cold = cold_share(chemistry=chemistry, temperature_degc=temperature_degc)
        reached = float(drawn_at_voltage(chemistry=chemistry, cell_v=lowest_v / n))
        one_ah_wh = mean_cell_v(chemistry=chemistry, reached=reached) * reached * n
        energy = Span(*(ah * share * one_ah_wh for ah, share in zip(charge_ah, cold, strict=True)))
        hours = Span(*(wh / load for wh in energy))
        refused = _refusal(chemistry, n, voltages, *limits)
        rows.append(CellRow(chemistry, *voltages, reached, energy, hours, refused))
    return tuple(rows)


def mean_cell_v(*, chemistry, reached):
    """The mean voltage of a cell from full until a share of its charge is drawn.

    Parameters
    ----------
    chemistry : str
        A name in CHEMISTRIES.
    reached : float
        Share of the charge drawn at the end.

    Returns
    -------
    float
        Mean voltage under a moderate load [V].

    Raises
    ------
    ValueError
        If the chemistry is unknown or the share lies outside 0 to 1.

    Notes
    -----
    ∫ V dq / q by the trapezoid rule. Energy is charge times this, not times the fresh voltage.

    References
    ----------
    Derivation: the mean of cell_voltage_v.

    Examples
    --------
    >>> print(round(mean_cell_v(chemistry="nimh", reached=1), 2))
    1.23
    """
    share = fraction("reached", reached)
    volts = cell_voltage_v(chemistry=chemistry, drawn=share * np.linspace(0, 1, CURVE_STEPS + 1))
    return float((volts[1:] + volts[:-1]).mean() / 2)


def _whole(name, value):
    n = between(name, value, 1, 100, cure="a row has 1 to 100 cells")
    if n != round(n):
        raise ValueError(f"{name} must be a whole number, received {n:g}")
    return n


def _limits(lowest_v, highest_v):
    low, high = positive("lowest_v", lowest_v), positive("highest_v", highest_v)
    if high <= low:
        raise ValueError(
            f"highest_v must be above lowest_v ({low:g} V), received {high:g} V: were the two swapped?"
        )
    return low, high


def _refusal(chemistry, cells, row, lowest_v, highest_v):
    """Why an input refuses a row, with a count that would do; "" where it accepts it."""
    about = CHEMISTRIES[chemistry]
    name = f"{cells:g} {chemistry} cells give {row.nominal_v:.1f} V"
    least = math.ceil(lowest_v / about.nominal_v - 1e-9)
    most = math.floor(highest_v / about.fresh_v + 1e-9)
    cure = f"use {least} to {most} of them" if least < most else f"use {least} of them"
    cure = cure if least <= most else "no number of them fits"
    if row.fresh_v > highest_v + 1e-9:
        return f"{name}, {row.fresh_v:.1f} V when fresh; the input accepts at most {highest_v:g} V: {cure}"
    if row.nominal_v < lowest_v - 1e-9:
        return f"{name}; the input needs {lowest_v:g} V or more: {cure}"
    return ""
