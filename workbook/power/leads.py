"""Which lead to swap: losses ranked, the gauge that would do, and what a port can give."""

from __future__ import annotations

from types import MappingProxyType
from typing import NamedTuple

import numpy as np

from workbook.checks import chosen, positive
from workbook.power.cable import (
    brown_out_margin_v,
    lead_resistance_ohm,
    load_current_a,
    load_voltage_v,
    wire_area_mm2,
)

THICKEST_AWG, THINNEST_AWG = 6, 30  # gauges on sale as a two-wire lead

# Voltage [V] and current [A] that a port must give at most, by the standards of the USB Implementers Forum.
USB_PORTS = MappingProxyType(
    {
        "usb 2": (5.0, 0.5),
        "usb 3": (5.0, 0.9),
        "charging port": (5.0, 1.5),
        "type-c 3 a": (5.0, 3.0),
        "power delivery 20 v": (20.0, 5.0),
        "power delivery 48 v": (48.0, 5.0),
    }
)


class Lead(NamedTuple):
    """One lead: `name`, battery end `battery_v` [V], `mean_w` and `peak_w` [W], `cable_m` [m], `gauge_awg` [AWG].

    `lowest_v` is the lowest voltage that the device at its end accepts [V].
    """

    name: str
    battery_v: float
    mean_w: float
    peak_w: float
    cable_m: float
    gauge_awg: float
    lowest_v: float


class LeadRow(NamedTuple):
    """What one lead costs: `lost_w` in the mean [W] and its `share`; at the peak `far_v` and `margin_v` [V].

    `needed_awg` is the thinnest gauge that holds the peak [AWG], NaN where none does; `swap` is True where
    the lead in hand does not hold it.
    """

    name: str
    lost_w: float
    share: float
    far_v: float
    margin_v: float
    needed_awg: float
    swap: bool


def lead_loss_w(*, battery_v, load_w, cable_m, gauge_awg, cable_temperature_degc):
    """The power that a lead turns into heat.

    Parameters
    ----------
    battery_v : float or array
        Voltage at the battery [V].
    load_w : float or array
        Power of the device [W].
    cable_m : float or array
        Length of the lead, one way [m].
    gauge_awg : float or array
        Wire gauge [AWG].
    cable_temperature_degc : float or array
        Temperature of the copper [°C].

    Returns
    -------
    float or array
        Loss [W]. NaN where no voltage carries the power.

    Raises
    ------
    ValueError
        If a value leaves its range.

    Notes
    -----
    I² R, on top of what the device takes.

    References
    ----------
    Joule's law; reference rows PWR-05 and PWR-07.

    Examples
    --------
    >>> print(round(lead_loss_w(battery_v=12, load_w=30, cable_m=3, gauge_awg=20, cable_temperature_degc=20), 2))
    1.37
    """
    resistance = lead_resistance_ohm(
        cable_m=cable_m,
        area_mm2=wire_area_mm2(gauge_awg=gauge_awg),
        cable_temperature_degc=cable_temperature_degc,
    )
    return load_current_a(supply_v=battery_v, load_w=load_w, resistance_ohm=resistance) ** 2 * resistance


def thinnest_gauge_awg(*, battery_v, load_w, cable_m, cable_temperature_degc, lowest_v):
    """The thinnest wire whose far end stays at the lowest voltage or above.

    Parameters
    ----------
    battery_v : float or array
        Voltage at the battery under load [V].
    load_w : float or array
        Peak power of the device [W].
    cable_m : float or array
        Length of the lead, one way [m].
    cable_temperature_degc : float or array
        Temperature of the copper [°C].
    lowest_v : float or array
        Lowest voltage that the device accepts [V].

    Returns
    -------
    float or array
        Gauge as a whole number [AWG], 30 at most; NaN where even gauge 6 is too thin.

    Raises
    ------
    ValueError
        If a value leaves its range.

    Notes
    -----
    The far end is at its limit V when R = (U − V) V/P, or at V = U/2 where the limit lies lower, since below half
    the voltage no power more can pass. The area follows from R, the gauge from the area, rounded to thicker. Leave
    some spare: plugs and cold cells are not in it.

    References
    ----------
    Derivation: load_voltage_v solved for the gauge.

    Examples
    --------
    >>> print(thinnest_gauge_awg(battery_v=12, load_w=30, cable_m=3, cable_temperature_degc=20, lowest_v=11.5))
    19.0
    """
    volts, floor_v = positive("battery_v", battery_v), positive("lowest_v", lowest_v)
    floor_v = np.maximum(floor_v, volts / 2)
    allowed_ohm = (volts - floor_v) * floor_v / positive("load_w", load_w)
    with np.errstate(divide="ignore", invalid="ignore"):
        one_mm2 = lead_resistance_ohm(
            cable_m=cable_m, area_mm2=1.0, cable_temperature_degc=cable_temperature_degc
        )
        diameter = np.sqrt(4 / np.pi * one_mm2 / np.where(allowed_ohm > 0, allowed_ohm, np.nan))
    gauge = np.floor(36 - 39 * np.log(diameter / 0.127) / np.log(92) + 1e-9)
    return np.where(gauge < THICKEST_AWG, np.nan, np.minimum(gauge, THINNEST_AWG))[()]


def rank_leads(*, leads, cable_temperature_degc):
    """Which lead to swap first: those that brown out in front, then the largest loss.

    Parameters
    ----------
    leads : sequence of Lead
        The leads, each with its device.
    cable_temperature_degc : float
        Temperature of the copper [°C].

    Returns
    -------
    tuple of LeadRow
        Mean loss and its share of all losses, voltage and margin at the far end at the peak, gauge that would
        hold it, whether to swap; units in LeadRow.

    Raises
    ------
    ValueError
        If a value leaves its range.

    Notes
    -----
    Two thin leads of equal loss are not equal: what resets a camera is the smallest margin, not the warmest wire.
    A lead with a margin is ranked by its loss alone.

    References
    ----------
    Derivation: lead_loss_w and brown_out_margin_v for each lead.

    Examples
    --------
    >>> thin = Lead("mount", 9.6, 4, 24, 2, 28, 7.5)
    >>> thick = Lead("computer", 12.8, 10, 15, 2, 18, 11)
    >>> for row in rank_leads(leads=[thick, thin], cable_temperature_degc=0):
    ...     print(row.name, round(row.lost_w, 2), round(row.margin_v, 2), row.needed_awg, row.swap)
    mount 0.15 -0.65 27.0 True
    computer 0.05 1.71 30.0 False
    """
    rows = []
    for lead in leads:
        asked = {
            "battery_v": lead.battery_v,
            "cable_m": lead.cable_m,
            "cable_temperature_degc": cable_temperature_degc,
        }
        wire = asked | {"gauge_awg": lead.gauge_awg}
        margin = brown_out_margin_v(**wire, load_w=lead.peak_w, lowest_v=lead.lowest_v)
        rows.append(
            LeadRow(
                lead.name,
                float(lead_loss_w(**wire, load_w=lead.mean_w)),
                0.0,
                float(load_voltage_v(**wire, load_w=lead.peak_w)),
                float(margin),
                float(thinnest_gauge_awg(**asked, load_w=lead.peak_w, lowest_v=lead.lowest_v)),
                bool(margin < 0),
            )
        )
    lost = np.nansum([row.lost_w for row in rows])
    rows = [row._replace(share=float(row.lost_w / lost) if lost else 0.0) for row in rows]
    return tuple(
        sorted(rows, key=lambda row: (not row.swap, min(row.margin_v, 0.0), -np.nan_to_num(row.lost_w)))
    )


def usb_limit_w(port):
    """The power that a port gives at most.

    Parameters
    ----------
    port : str
        A name in USB_PORTS.

    Returns
    -------
    float
        Power [W].

    Raises
    ------
    ValueError
        If the port is unknown.

    Notes
    -----
    Volts times amperes by the standard; what a lead of 3 m leaves of the 5 V is another matter.

    References
    ----------
    USB Implementers Forum: USB 2.0, USB 3.2, Battery Charging 1.2, Type-C and Power Delivery 3.1; reference rows
    PWR-16a to PWR-16f.

    Examples
    --------
    >>> usb_limit_w("usb 3")
    4.5
    """
    volts, amperes = USB_PORTS[chosen("port", port, tuple(USB_PORTS))]
    return volts * amperes
