"""The heater of a lens: the heat it must give, a duty through the night, and what that costs."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import not_negative, number, positive
from workbook.power.energy import _rising, drawn_wh
from workbook.power.lens import lens_margin_k


class HeaterPlan(NamedTuple):
    """A heater's night: `duty` in each step, `mean_w` [W], first need `start_h` [h], `energy_wh` [Wh].

    `start_h` is NaN where no heat is needed; `short_k` is what the worst step lacks of the margin [K].
    """

    duty: np.ndarray
    mean_w: np.ndarray
    start_h: float
    energy_wh: float
    short_k: float


def heater_lift_k_w(*, area_m2, transfer_w_m2_k):
    """How far one watt of heater warms a lens.

    Parameters
    ----------
    area_m2 : float or array
        Surface that gives heat to the air: front of the lens, and the part of the tube that warms with it [m²].
    transfer_w_m2_k : float or array
        Heat the air takes from each square metre for each kelvin [W/m²/K].

    Returns
    -------
    float or array
        Warming for each watt [K/W]; the `lift_k_w` of lens_margin_k.

    Raises
    ------
    ValueError
        If a value is not positive.

    Notes
    -----
    1/(h A). Radiation adds about 5 W/m²/K to h, and a heater band round the tube warms much more than the lens:
    measure the lift of your own lens where you can.

    References
    ----------
    Newton's law of cooling; reference row DEW-11.

    Examples
    --------
    >>> print(round(heater_lift_k_w(area_m2=0.03, transfer_w_m2_k=10), 2))
    3.33
    """
    area = positive("area_m2", area_m2, cure="in square metres, a lens of 60 mm has 0.0028 m²")
    return 1 / (area * positive("transfer_w_m2_k", transfer_w_m2_k))


def heater_need_w(*, air_degc, humidity_pct, cooling_k, lift_k_w, margin_k):
    """The mean heat that keeps the lens a margin above dew or frost.

    Parameters
    ----------
    air_degc : float or array
        Temperature of the air [°C].
    humidity_pct : float or array
        Relative humidity over water [%].
    cooling_k : float or array
        How far the unheated lens cools below the air [K].
    lift_k_w : float or array
        Warming of the lens for each watt of mean power [K/W].
    margin_k : float or array
        How far above the dew or frost point the lens shall stay [K]; 1 to 2 K leaves room for the forecast.

    Returns
    -------
    float or array
        Mean power [W], 0 where none is needed.

    Raises
    ------
    ValueError
        If air or humidity leaves its range, the lift is not positive, or another value is negative.

    Notes
    -----
    (margin − unheated margin) / lift, at least 0: lens_margin_k solved for the power.

    References
    ----------
    Derivation: lens_margin_k solved for the power; reference row DEW-11.

    Examples
    --------
    >>> print(round(heater_need_w(air_degc=3, humidity_pct=90, cooling_k=2, lift_k_w=3, margin_k=1), 2))
    0.51
    """
    cold = lens_margin_k(
        air_degc=air_degc,
        humidity_pct=humidity_pct,
        cooling_k=cooling_k,
        heater_w=0.0,
        heater_duty=0.0,
        lift_k_w=1.0,
    )
    lift = positive("lift_k_w", lift_k_w, cure="0.5 to 5 K/W is usual")
    return np.maximum(0.0, (not_negative("margin_k", margin_k) - cold) / lift)[()]


def heater_plan(*, times_h, air_degc, humidity_pct, cooling_k, heater_w, lift_k_w, margin_k):
    """A duty through the night that keeps the lens clear with the least energy.

    Parameters
    ----------
    times_h : array
        Start of each step and, last, the end of the night, rising [h].
    air_degc : float or array
        Temperature of the air at the times, times on the last axis [°C].
    humidity_pct : float or array
        Relative humidity over water at the times [%].
    cooling_k : float or array
        How far the unheated lens cools below the air [K].
    heater_w : float or array
        Power of the heater while it is on [W].
    lift_k_w : float or array
        Warming of the lens for each watt of mean power [K/W].
    margin_k : float or array
        How far above the dew or frost point the lens shall stay [K].

    Returns
    -------
    HeaterPlan
        Duty at each time, mean power [W], first hour with heat [h], energy of the night [Wh], and the largest
        shortfall of the margin [K], which is above 0 where the heater is too weak even at full duty.

    Raises
    ------
    ValueError
        If the times do not rise, or a value leaves its range.

    Notes
    -----
    duty = min(1, need / heater_w), and it holds from its time to the next; need is the larger heater_need_w of the
    two ends of the step. A lens lags by some minutes: a plan without a margin starts late.

    References
    ----------
    Derivation: lens_margin_k solved for the duty, step by step; reference row DEW-11.

    Examples
    --------
    >>> plan = heater_plan(times_h=[0, 3, 6], air_degc=[8, 5, 3], humidity_pct=[70, 85, 92],
    ...     cooling_k=2, heater_w=2, lift_k_w=3, margin_k=1)
    >>> print(plan.duty.round(2), plan.start_h, round(plan.energy_wh, 2), plan.short_k)
    [0.11 0.3  0.3 ] 0.0 2.51 0.0
    """
    times = _rising("times_h", times_h)
    power = positive("heater_w", heater_w, cure="without a heater there is no plan")
    need = heater_need_w(
        air_degc=air_degc,
        humidity_pct=humidity_pct,
        cooling_k=cooling_k,
        lift_k_w=lift_k_w,
        margin_k=margin_k,
    )
    need, power, lift, _ = np.broadcast_arrays(need, power, number("lift_k_w", lift_k_w), times)
    need = np.maximum(need, np.concatenate([need[..., 1:], need[..., -1:]], axis=-1))
    duty = np.minimum(1.0, need / power)
    on = duty > 0
    start = np.where(on.any(axis=-1), times[on.argmax(axis=-1)], np.nan)[()]
    energy = drawn_wh(load_w=duty * power, times_h=times)[..., -1][()]
    short = ((need - duty * power) * lift).max(axis=-1)
    return HeaterPlan(duty, duty * power, start, energy, short)


def heater_at_voltage_w(*, rated_w, rated_v, voltage_v):
    """What a heater gives when the battery sags.

    Parameters
    ----------
    rated_w : float or array
        Power printed on the heater [W].
    rated_v : float or array
        Voltage for which it is printed [V].
    voltage_v : float or array
        Voltage that reaches it [V].

    Returns
    -------
    float or array
        Power [W].

    Raises
    ------
    ValueError
        If a rating is not positive or the voltage negative.

    Notes
    -----
    P (U/U₀)²: a heater is a resistor, and ten per cent less voltage is nineteen per cent less heat. Ignores that
    its resistance changes with temperature.

    References
    ----------
    Ohm's law; reference row PWR-17.

    Examples
    --------
    >>> print(round(heater_at_voltage_w(rated_w=6, rated_v=12, voltage_v=10.8), 2))
    4.86
    """
    share = not_negative("voltage_v", voltage_v) / positive("rated_v", rated_v)
    return positive("rated_w", rated_w) * share**2
