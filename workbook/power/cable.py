"""The lead: resistance of two copper wires, and what is left of the voltage at the far end."""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, number, positive

COPPER_OHM_MM2_M = 1 / 58  # IEC 60028 (1925): annealed copper, 58 MS/m at 20 °C
COPPER_PER_K = 0.00393  # IEC 60028: change of resistance of that copper, at constant mass, from 20 °C


def wire_diameter_mm(*, gauge_awg):
    """Diameter of a solid wire of a gauge.

    Parameters
    ----------
    gauge_awg : float or array
        American wire gauge; the larger, the thinner; 0, −1, −2, −3 for 1/0 to 4/0 [AWG].

    Returns
    -------
    float or array
        Diameter of the copper [mm]; a stranded wire of the same copper is thicker.

    Raises
    ------
    ValueError
        If the gauge lies outside −3 to 40.

    Notes
    -----
    0.127 × 92^((36 − n)/39): six numbers more halve the diameter.

    References
    ----------
    ASTM B258; reference rows PWR-01a to PWR-01e.

    Examples
    --------
    >>> print(round(wire_diameter_mm(gauge_awg=20), 3))
    0.812
    """
    gauge = between("gauge_awg", gauge_awg, -3, 40, cure="a gauge, not a diameter: 14 to 28 is usual")
    return 0.127 * 92 ** ((36 - gauge) / 39)


def wire_area_mm2(*, gauge_awg):
    """Copper cross-section of a gauge, the number that metric cords print.

    Parameters
    ----------
    gauge_awg : float or array
        American wire gauge [AWG].

    Returns
    -------
    float or array
        Area [mm²].

    Raises
    ------
    ValueError
        If the gauge lies outside −3 to 40.

    Notes
    -----
    π d²/4. Three numbers more halve the area and double the loss.

    References
    ----------
    ASTM B258; reference rows PWR-01a to PWR-01e.

    Examples
    --------
    >>> print(round(wire_area_mm2(gauge_awg=20), 3))
    0.518
    """
    return np.pi / 4 * wire_diameter_mm(gauge_awg=gauge_awg) ** 2


def lead_resistance_ohm(*, cable_m, area_mm2, cable_temperature_degc):
    """Resistance of a lead, out and back.

    Parameters
    ----------
    cable_m : float or array
        Length of the lead, one way [m].
    area_mm2 : float or array
        Copper cross-section of each wire; wire_area_mm2 gives it for a gauge [mm²].
    cable_temperature_degc : float or array
        Temperature of the copper [°C].

    Returns
    -------
    float or array
        Resistance of both wires [Ω].

    Raises
    ------
    ValueError
        If length or area is not positive, or the temperature lies outside −60 to 150 °C.

    Notes
    -----
    2 L ρ/A (1 + 0.00393 (T − 20)). Plugs add 5 to 50 mΩ each, worn ones more. Copper-coated aluminium has half as
    much again.

    References
    ----------
    IEC 60028 (1925); reference rows PWR-02a to PWR-06.

    Examples
    --------
    >>> print(round(lead_resistance_ohm(cable_m=5, area_mm2=0.75, cable_temperature_degc=20), 4))
    0.2299
    """
    length = positive("cable_m", cable_m, cure="the length of the lead one way, in metres")
    area = positive("area_mm2", area_mm2)
    degc = between("cable_temperature_degc", cable_temperature_degc, -60, 150, cure="did you pass kelvins?")
    return 2 * length * COPPER_OHM_MM2_M / area * (1 + COPPER_PER_K * (degc - 20))


def load_current_a(*, supply_v, load_w, resistance_ohm):
    """The current that a regulated device draws through a resistance.

    Parameters
    ----------
    supply_v : float or array
        Voltage at the battery [V].
    load_w : float or array
        Power that the device takes, whatever its voltage [W].
    resistance_ohm : float or array
        Resistance of lead, plugs and battery between them [Ω].

    Returns
    -------
    float or array
        Current [A]. NaN where the resistance cannot pass that power: the device browns out.

    Raises
    ------
    ValueError
        If the voltage is not positive or another value negative.

    Notes
    -----
    I = 2 P/(U + √(U² − 4 R P)), the smaller root of R I² − U I + P = 0. A regulator holds its power: it answers
    less voltage with more current, which costs still more voltage. P/U is too little.

    References
    ----------
    Derivation: U − R I = P/I; reference row PWR-07.

    Examples
    --------
    >>> print(round(load_current_a(supply_v=12, load_w=30, resistance_ohm=0.2), 3))
    2.614
    """
    volts = positive("supply_v", supply_v)
    power = not_negative("load_w", load_w)
    root = np.asarray(volts**2 - 4 * not_negative("resistance_ohm", resistance_ohm) * power)
    return (2 * power / (volts + np.sqrt(np.where(root >= 0, root, np.nan))))[()]


def load_voltage_v(*, battery_v, load_w, cable_m, gauge_awg, cable_temperature_degc):
    """The voltage at the far end of a lead, at a device that holds its power.

    Parameters
    ----------
    battery_v : float or array
        Voltage at the battery under load [V].
    load_w : float or array
        Power of the device, at its peak for a brown-out [W].
    cable_m : float or array
        Length of the lead, one way [m].
    gauge_awg : float or array
        Wire gauge [AWG].
    cable_temperature_degc : float or array
        Temperature of the copper [°C].

    Returns
    -------
    float or array
        Voltage [V]. NaN where no voltage carries the power: a brown-out.

    Raises
    ------
    ValueError
        If a voltage or length is not positive, the load negative, or gauge or temperature out of range.

    Notes
    -----
    U = (U₀ + √(U₀² − 4 R P))/2, the higher root, R of both wires. Plugs and the cells' own resistance are left
    out; 0.1 Ω of them at 3 A are another 0.3 V.

    References
    ----------
    Derivation: load_current_a; reference rows PWR-02a to PWR-07.

    Examples
    --------
    >>> print(round(load_voltage_v(
    ...     battery_v=12, load_w=30, cable_m=3, gauge_awg=20, cable_temperature_degc=20), 2))
    11.48
    """
    resistance = lead_resistance_ohm(
        cable_m=cable_m,
        area_mm2=wire_area_mm2(gauge_awg=gauge_awg),
        cable_temperature_degc=cable_temperature_degc,
    )
    current = load_current_a(supply_v=battery_v, load_w=load_w, resistance_ohm=resistance)
    return number("battery_v", battery_v) - current * resistance


def brown_out_margin_v(*, battery_v, load_w, cable_m, gauge_awg, cable_temperature_degc, lowest_v):
    """How far the voltage at the far end stays above the lowest that the device accepts.

    Parameters
    ----------
    battery_v : float or array
        Voltage at the battery under load; take it late in the night, when it is low [V].
    load_w : float or array
        Peak power of the device: both motors starting, not the mean [W].
    cable_m : float or array
        Length of the lead, one way [m].
    gauge_awg : float or array
        Wire gauge [AWG].
    cable_temperature_degc : float or array
        Temperature of the copper [°C].
    lowest_v : float or array
        Lowest voltage that the device accepts [V].

    Returns
    -------
    float or array
        Margin [V]; negative, or −∞ where no voltage carries the power, is a reset in the middle of a frame.

    Raises
    ------
    ValueError
        If a value leaves its range.

    Notes
    -----
    load_voltage_v − lowest. Minus infinity, not NaN, where the power does not pass, so that it compares as less.

    References
    ----------
    Derivation: load_voltage_v less the limit; reference row PWR-07.

    Examples
    --------
    >>> print(round(brown_out_margin_v(battery_v=9.6, load_w=12, cable_m=2, gauge_awg=24,
    ...     cable_temperature_degc=0, lowest_v=7.5), 2))
    1.69
    """
    far = load_voltage_v(
        battery_v=battery_v,
        load_w=load_w,
        cable_m=cable_m,
        gauge_awg=gauge_awg,
        cable_temperature_degc=cable_temperature_degc,
    )
    asked = number("battery_v", battery_v) + number("load_w", load_w) + number("cable_m", cable_m)
    asked = asked + number("gauge_awg", gauge_awg) + number("cable_temperature_degc", cable_temperature_degc)
    far = np.where(np.isnan(far) & ~np.isnan(asked), -np.inf, far)[()]
    return far - positive("lowest_v", lowest_v)
