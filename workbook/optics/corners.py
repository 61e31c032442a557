"""Out of focus at the corners: a tilted sensor, a curved field, and whether this chip needs a flattener.

Defocus is positive where the sensor stands behind the focus (too far from the lens).
"""

from __future__ import annotations

import numpy as np

from workbook.checks import between, not_negative, positive
from workbook.optics.focus import defocus_sigma_um

TILT = {"low": -600, "high": 600, "cure": "tilts of sensors are a few arcminutes"}


def tilt_at_corner_um(*, tilt_arcmin, radius_mm):
    """How far a tilted sensor is out of focus at a distance from the centre.

    Parameters
    ----------
    tilt_arcmin : float or array
        Tilt of the sensor, positive where that side leans away from the lens [′].
    radius_mm : float or array
        Distance from the centre, across the hinge of the tilt [mm].

    Returns
    -------
    float or array
        Defocus on that side [µm]; on the opposite side the same with the other sign.

    Raises
    ------
    ValueError
        If the tilt is beyond ±600′ or the distance negative.

    Notes
    -----
    r tan(tilt). Refocusing does not cure it: it only moves the line of sharp stars across the picture.

    References
    ----------
    Derivation: a right-angled triangle; reference row FOC-10 the other way round.

    Examples
    --------
    >>> print(round(tilt_at_corner_um(tilt_arcmin=10, radius_mm=8.5), 1))
    24.7
    """
    tilt = np.radians(between("tilt_arcmin", tilt_arcmin, **TILT) / 60)
    return 1e3 * not_negative("radius_mm", radius_mm) * np.tan(tilt)


def tilt_tolerance_arcmin(*, half_zone_um, radius_mm):
    """The tilt of the sensor that uses up the focus zone at the corner.

    Parameters
    ----------
    half_zone_um : float or array
        Allowed distance from the focus, to each side [µm].
    radius_mm : float or array
        Distance of the corner from the centre [mm].

    Returns
    -------
    float or array
        Tilt [′].

    Raises
    ------
    ValueError
        If the zone is negative or the distance not positive.

    Notes
    -----
    arctan(half zone / r), with the centre exactly in focus: nothing is left then for focusing or cooling.

    References
    ----------
    Derivation: a right-angled triangle; reference row FOC-10.

    Examples
    --------
    >>> print(round(tilt_tolerance_arcmin(half_zone_um=33.5, radius_mm=8.5), 1))
    13.5
    """
    half_zone_mm = 1e-3 * not_negative("half_zone_um", half_zone_um)
    return 60 * np.degrees(np.arctan(half_zone_mm / positive("radius_mm", radius_mm)))


def lens_curvature_radius_mm(*, focal_mm, refractive_index):
    """The radius of the curved surface on which a plain lens without a flattener is sharp.

    Parameters
    ----------
    focal_mm : float or array
        Focal length [mm].
    refractive_index : float or array
        Refractive index of the glass, about 1.5.

    Returns
    -------
    float or array
        Radius of the surface of smallest discs, hollow towards the lens [mm].

    Raises
    ------
    ValueError
        If the focal length is not positive, or the index outside 1 to 4.

    Notes
    -----
    f/(2 + 1/n), three eighths of the focal length: third-order theory of a thin lens at its own stop. It is a
    first guess for any small refractor: objectives of two or three lenses lie between 0.3 and 0.5 f, those
    with a built-in corrector are flatter. Along the radius and across it the foci lie r²/2f to either side of
    this surface (astigmatism), so that even there a star is a disc of r²/(2 f N).

    References
    ----------
    Smith, W. J., Modern Optical Engineering, stop-shift and thin-lens aberrations (recalled); tested by
    tracing Coddington's equations through a thin lens.

    Examples
    --------
    >>> print(round(lens_curvature_radius_mm(focal_mm=320, refractive_index=1.52)))
    120
    """
    index = between("refractive_index", refractive_index, 1, 4, cure="glass has about 1.5")
    return positive("focal_mm", focal_mm, cure="did you pass metres? 0.32 m is 320 mm") / (2 + 1 / index)


def curvature_defocus_um(*, radius_mm, focused_radius_mm, curvature_radius_mm):
    """How far a flat sensor in a curved field is out of focus at a distance from the centre.

    Parameters
    ----------
    radius_mm : float or array
        Distance from the centre [mm].
    focused_radius_mm : float or array
        Distance from the centre at which you focused; 0 is the centre [mm].
    curvature_radius_mm : float or array
        Radius of the curved field, hollow towards the lens [mm].

    Returns
    -------
    float or array
        Defocus [µm]: positive (sensor behind the focus) outside the focused circle.

    Raises
    ------
    ValueError
        If a distance is negative, the radius of the field not positive, or a distance larger than it.

    Notes
    -----
    s(r) − s(r₀) with the sag of a sphere s = R − √(R² − r²), about r²/2R. Focusing at 0.7 of the corner's
    distance shares the defocus evenly between centre and corner and halves the worst of it.

    References
    ----------
    Derivation: Pythagoras on a sphere; tested against the circle itself.

    Examples
    --------
    >>> print(round(curvature_defocus_um(radius_mm=8.5, focused_radius_mm=0, curvature_radius_mm=120), 1))
    301.4
    """
    curve = positive("curvature_radius_mm", curvature_radius_mm)
    return 1e3 * (
        _sag_mm("radius_mm", radius_mm, curve) - _sag_mm("focused_radius_mm", focused_radius_mm, curve)
    )


def flat_circle_mm(*, allowed_defocus_um, curvature_radius_mm):
    """The largest image circle that a curved field fills sharply without a flattener.

    Parameters
    ----------
    allowed_defocus_um : float or array
        Allowed distance from the focus, to each side [µm].
    curvature_radius_mm : float or array
        Radius of the curved field [mm].

    Returns
    -------
    float or array
        Diameter of the circle [mm]; a sensor whose diagonal is shorter needs no flattener for its curvature.

    Raises
    ------
    ValueError
        If the allowed defocus is negative or the radius not positive, or the sag larger than the radius.

    Notes
    -----
    2 √(2 R s − s²) with s twice the allowed defocus, because the best focus leaves the centre as much in front
    as the corner behind. Astigmatism is not in it: a plain lens also wants r²/2f within the allowed defocus.

    References
    ----------
    Derivation: chord of a circle with that sag; the inverse of `curvature_defocus_um`.

    Examples
    --------
    >>> print(round(flat_circle_mm(allowed_defocus_um=33.5, curvature_radius_mm=120), 1))
    8.0
    """
    curve = positive("curvature_radius_mm", curvature_radius_mm)
    sag = 2e-3 * not_negative("allowed_defocus_um", allowed_defocus_um)
    if np.any(sag > curve):
        raise ValueError(
            f"allowed_defocus_um must be below half of curvature_radius_mm, received {np.max(sag) * 500:g} µm: "
            "did you pass nm?"
        )
    return 2 * np.sqrt(2 * curve * sag - sag**2)


def corner_widening(*, defocus_um, f_ratio, centre_sigma_um):
    """How many times wider a star is out of focus than in the sharp centre.

    Parameters
    ----------
    defocus_um : float or array
        Defocus at the corner, for instance of a curved field [µm].
    f_ratio : float or array
        Focal length over aperture.
    centre_sigma_um : float or array
        Standard deviation of a star in focus, seeing and pixel included [µm].

    Returns
    -------
    float or array
        Width at the corner over width in the centre, 1 or more.

    Raises
    ------
    ValueError
        If focal ratio or star width is not positive, or the defocus beyond ±20,000 µm.

    Notes
    -----
    √(1 + (Δz/4Nσ)²). Below 1.1 hardly anybody sees it: then no flattener is needed for this chip. A wide star
    (poor seeing, coarse pixels) hides more curvature than a sharp one.

    References
    ----------
    Derivation: second moments add; the disc's is (Δz/4N)², see `defocus_sigma_um`.

    Examples
    --------
    >>> print(round(corner_widening(defocus_um=150, f_ratio=5.5, centre_sigma_um=2.5), 2))
    2.9
    """
    disc = defocus_sigma_um(defocus_um=defocus_um, f_ratio=f_ratio)
    return np.hypot(1, disc / positive("centre_sigma_um", centre_sigma_um))


def _sag_mm(name, radius_mm, curve):
    """Depth of a spherical surface at a distance from its axis."""
    radius_mm = not_negative(name, radius_mm)
    if np.any(radius_mm > curve):
        raise ValueError(
            f"{name} must not pass curvature_radius_mm, received {np.max(radius_mm):g} mm: "
            "did you pass µm, or a diameter?"
        )
    return curve - np.sqrt(curve**2 - radius_mm**2)
