"""Wind on a small mount: how hard it pushes, how far the tube yields, which gust costs a frame."""

from __future__ import annotations

import numpy as np

from workbook.checks import not_negative, positive
from workbook.constants import AIR_DENSITY_KG_M3, ARCSEC_PER_RAD


def wind_torque_n_m(*, wind_m_s, area_m2, arm_m, drag=1.2):
    """Torque of a steady wind about the axis.

    Parameters
    ----------
    wind_m_s : float or array
        Speed of the wind, across the tube [m/s].
    area_m2 : float or array
        Area that the load turns to the wind [m²].
    arm_m : float or array
        Distance from the axis to the middle of that area [m].
    drag : float or array
        Drag coefficient; 1.2 by default, that of a long smooth cylinder across the wind below a Reynolds
        number of 200,000. A short tube has 0.7 to 0.9, a cube 1.05: the default errs on the safe side.

    Returns
    -------
    float or array
        Torque [N·m].

    Raises
    ------
    ValueError
        If a value is negative, or area or drag zero.

    Notes
    -----
    ½ ρ v² C A a with air of 1.225 kg/m³ (15 °C at sea level; 5 % more at 0 °C, a tenth less per 900 m). The
    wind is taken as steady and square to the tube; shaking at a natural frequency comes on top.

    References
    ----------
    Hoerner, S. F. (1965), Fluid-Dynamic Drag, ch. 3 (drag of cylinders); ISO 2533 (air); row MEC-15.

    Examples
    --------
    >>> print(round(wind_torque_n_m(wind_m_s=6, area_m2=0.03, arm_m=0.1), 4))
    0.0794
    """
    return not_negative("wind_m_s", wind_m_s, cure="km/h are 3.6 times m/s") ** 2 * _torque_factor(
        area_m2, arm_m, drag
    )


def wind_deflection_arcsec(*, wind_m_s, area_m2, arm_m, stiffness_n_m_rad, drag=1.2):
    """Angle by which a steady wind turns the tube.

    Parameters
    ----------
    wind_m_s : float or array
        Speed of the wind, across the tube [m/s].
    area_m2 : float or array
        Area that the load turns to the wind [m²].
    arm_m : float or array
        Distance from the axis to the middle of that area [m].
    stiffness_n_m_rad : float or array
        Torque for each radian of yielding, mount and stand together [N·m/rad].
    drag : float or array
        Drag coefficient; 1.2 by default, for the reason given at wind_torque_n_m.

    Returns
    -------
    float or array
        Deflection [″].

    Raises
    ------
    ValueError
        If a value is negative, or area, stiffness or drag zero.

    Notes
    -----
    torque/stiffness. A steady deflection is harmless, only its change spoils a frame.

    References
    ----------
    Derivation: Hooke's law for a torsion spring under wind_torque_n_m.

    Examples
    --------
    >>> print(round(wind_deflection_arcsec(wind_m_s=6, area_m2=0.03, arm_m=0.1, stiffness_n_m_rad=500), 1))
    32.7
    """
    torque = wind_torque_n_m(wind_m_s=wind_m_s, area_m2=area_m2, arm_m=arm_m, drag=drag)
    return ARCSEC_PER_RAD * torque / positive("stiffness_n_m_rad", stiffness_n_m_rad)


def gust_to_lose_frame_m_s(*, wind_m_s, tolerance_arcsec, area_m2, arm_m, stiffness_n_m_rad, drag=1.2):
    """Speed of the gust that moves the star by the tolerance, over where the steady wind holds it.

    Parameters
    ----------
    wind_m_s : float or array
        Speed of the steady wind [m/s].
    tolerance_arcsec : float or array
        Largest movement that keeps the frame [″].
    area_m2 : float or array
        Area that the load turns to the wind [m²].
    arm_m : float or array
        Distance from the axis to the middle of that area [m]. With 0 no gust turns the tube: infinity (NaN
        where the tolerance is 0 too).
    stiffness_n_m_rad : float or array
        Torque for each radian of yielding, mount and stand together [N·m/rad].
    drag : float or array
        Drag coefficient; 1.2 by default, for the reason given at wind_torque_n_m.

    Returns
    -------
    float or array
        Speed of the gust [m/s].

    Raises
    ------
    ValueError
        If a value is negative, or area, stiffness or drag zero.

    Notes
    -----
    √(v² + tolerance · stiffness/(½ ρ C A a)). The more wind there is already, the smaller the extra gust that
    does it. The gust lasts long enough for the tube to follow, but does not excite it.

    References
    ----------
    Derivation: the deflections of wind_deflection_arcsec at gust and steady wind differ by the tolerance.

    Examples
    --------
    >>> print(round(gust_to_lose_frame_m_s(wind_m_s=2, tolerance_arcsec=3.4, area_m2=0.03, arm_m=0.1,
    ...                              stiffness_n_m_rad=500), 2))
    2.78
    """
    tolerance = not_negative("tolerance_arcsec", tolerance_arcsec) / ARCSEC_PER_RAD
    stiffness = positive("stiffness_n_m_rad", stiffness_n_m_rad)
    with np.errstate(divide="ignore", invalid="ignore"):
        extra = np.divide(tolerance * stiffness, _torque_factor(area_m2, arm_m, drag))
    return np.sqrt(not_negative("wind_m_s", wind_m_s, cure="km/h are 3.6 times m/s") ** 2 + extra)


def wind_yield(
    *,
    sub_s,
    wind_m_s,
    gust_m_s,
    gusts_per_h,
    gust_s,
    tolerance_arcsec,
    area_m2,
    arm_m,
    stiffness_n_m_rad,
    drag=1.2,
):
    """The share of subs that no gust spoils.

    Parameters
    ----------
    sub_s : float or array
        Length of the sub [s].
    wind_m_s : float or array
        Speed of the steady wind [m/s].
    gust_m_s : float or array
        Speed of the strongest gusts [m/s].
    gusts_per_h : float or array
        Gusts an hour [per hour].
    gust_s : float or array
        Length of one gust with its settling [s].
    tolerance_arcsec : float or array
        Largest movement that keeps the frame [″].
    area_m2 : float or array
        Area that the load turns to the wind [m²]. A dew cap adds its length times its width.
    arm_m : float or array
        Distance from the axis to the middle of that area [m].
    stiffness_n_m_rad : float or array
        Torque for each radian of yielding, mount and stand together [N·m/rad].
    drag : float or array
        Drag coefficient; 1.2 by default, for the reason given at wind_torque_n_m.

    Returns
    -------
    float or array
        Frame yield, 0 to 1.

    Raises
    ------
    ValueError
        If a value is negative, or sub, area, stiffness or drag zero.

    Notes
    -----
    Peaks of gusts lie evenly between the steady wind and the strongest; those above gust_to_lose_frame_m_s are bad.
    Bad gusts come at random (Poisson): e^(−rate (sub + gust)). Turbulence between gusts is left out, and so is the
    shaking of the stand: behind a wall the wind is lower but rougher.

    References
    ----------
    Derivation: the chance that a Poisson process has no event in the sub or in the gust before it.

    Examples
    --------
    >>> print(round(wind_yield(sub_s=30, wind_m_s=2, gust_m_s=6, gusts_per_h=8, gust_s=5, tolerance_arcsec=3.4,
    ...                        area_m2=0.03, arm_m=0.1, stiffness_n_m_rad=500), 3))
    0.939
    """
    critical = gust_to_lose_frame_m_s(
        wind_m_s=wind_m_s,
        tolerance_arcsec=tolerance_arcsec,
        area_m2=area_m2,
        arm_m=arm_m,
        stiffness_n_m_rad=stiffness_n_m_rad,
        drag=drag,
    )
    gust = not_negative("gust_m_s", gust_m_s, cure="km/h are 3.6 times m/s")
    wind = not_negative("wind_m_s", wind_m_s)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.where(gust > critical, np.divide(gust - critical, gust - wind), 0.0)
    share = np.where(np.isnan(critical + gust), np.nan, share)
    rate = share * not_negative("gusts_per_h", gusts_per_h) / 3600.0
    return np.exp(-rate * (positive("sub_s", sub_s) + not_negative("gust_s", gust_s)))


def _torque_factor(area_m2, arm_m, drag):
    """Torque for each (m/s)² of wind."""
    area = positive("area_m2", area_m2, cure="0.3 m by 0.1 m are 0.03 m²")
    arm = not_negative("arm_m", arm_m, cure="give the distance, without a sign")
    return 0.5 * AIR_DENSITY_KG_M3 * positive("drag", drag) * area * arm
