"""The stack between flattener and sensor: how much glass lengthens it, and what a wrong length does.

A plane plate moves the focus away from the lens by about a third of its thickness. The flattener wants its
design distance in air, so every plate makes the stack of rings *longer*.
"""

from __future__ import annotations

from workbook.checks import between, not_negative, positive

_INDEX = {"low": 1, "high": 4, "cure": "air has 1, filter glass about 1.5"}


def filter_shift_mm(*, thickness_mm, refractive_index):
    """How far a plane plate of glass moves the focus away from the lens.

    Parameters
    ----------
    thickness_mm : float or array
        Thickness of the glass [mm].
    refractive_index : float or array
        Refractive index of the glass, about 1.5.

    Returns
    -------
    float or array
        Shift of the focus away from the lens [mm].

    Raises
    ------
    ValueError
        If the thickness is negative, or the index outside 1 to 4.

    Notes
    -----
    t (1 − 1/n), a third of the thickness at n = 1.5, for rays close to the axis. It does not matter where
    between lens and sensor the plate stands. In a fast beam the rim's rays move a little further: 1 % at f/4,
    3 % at f/2 (n = 1.52). Cover glass of the sensor counts as well, unless its maker's depth contains it.

    References
    ----------
    Smith, W. J., Modern Optical Engineering, plane-parallel plate; reference rows FOC-06 to FOC-08.

    Examples
    --------
    >>> print(round(filter_shift_mm(thickness_mm=2, refractive_index=1.52), 3))
    0.684
    """
    thickness_mm = not_negative("thickness_mm", thickness_mm)
    return thickness_mm * (1 - 1 / between("refractive_index", refractive_index, **_INDEX))


def spacer_mm(*, back_focus_mm, sensor_depth_mm, other_parts_mm, filter_thickness_mm, refractive_index):
    """The length of the ring that is missing between flattener and camera.

    Parameters
    ----------
    back_focus_mm : float or array
        Design distance from the flattener to the sensor, in air [mm].
    sensor_depth_mm : float or array
        Depth of the sensor behind the camera's front face [mm].
    other_parts_mm : float or array
        Length of all rings, drawers and wheels already in between [mm].
    filter_thickness_mm : float or array
        Thickness of all glass in between [mm]; 0 without a filter.
    refractive_index : float or array
        Refractive index of that glass; without meaning where there is none.

    Returns
    -------
    float or array
        Length of the missing spacer [mm]; negative where the parts are already too long by so much.

    Raises
    ------
    ValueError
        If the design distance is not positive, a length is negative, or the index outside 1 to 4.

    Notes
    -----
    back focus + t (1 − 1/n) − sensor depth − other parts. Glass *lengthens* the stack: light that passes it
    comes to focus later. Subtracting the shift is the usual slip, and costs twice the shift. Nothing in it
    knows the tolerance of the rings: three rings of ±0.1 mm may be 0.3 mm off.

    References
    ----------
    Derivation: the plate moves focus and sensor by the same t (1 − 1/n); a ray trace and reference row FOC-06.

    Examples
    --------
    >>> ring = spacer_mm(
    ...     back_focus_mm=52,
    ...     sensor_depth_mm=17.5,
    ...     other_parts_mm=20,
    ...     filter_thickness_mm=2,
    ...     refractive_index=1.52,
    ... )
    >>> print(round(ring, 2))
    15.18
    """
    back_focus_mm = positive("back_focus_mm", back_focus_mm, cure="read it in the flattener's sheet")
    parts = not_negative("sensor_depth_mm", sensor_depth_mm) + not_negative("other_parts_mm", other_parts_mm)
    glass = not_negative("filter_thickness_mm", filter_thickness_mm)
    return back_focus_mm + filter_shift_mm(thickness_mm=glass, refractive_index=refractive_index) - parts


def spacing_error_mm(*, stack_mm, back_focus_mm, filter_thickness_mm, refractive_index):
    """How far a finished stack is from the distance the flattener was designed for.

    Parameters
    ----------
    stack_mm : float or array
        Length from the flattener to the sensor as built, glass measured as glass [mm].
    back_focus_mm : float or array
        Design distance from the flattener to the sensor, in air [mm].
    filter_thickness_mm : float or array
        Thickness of all glass in between [mm].
    refractive_index : float or array
        Refractive index of that glass.

    Returns
    -------
    float or array
        Error [mm]: positive where the sensor is too far from the flattener, negative where too close.

    Raises
    ------
    ValueError
        If a distance is not positive, the thickness negative, or the index outside 1 to 4.

    Notes
    -----
    stack − back focus − t (1 − 1/n). Turning the focuser does not change it: the focuser moves flattener and
    sensor together.

    References
    ----------
    Derivation: zero exactly when the spacer of `spacer_mm` is in; reference row FOC-06 for the glass.

    Examples
    --------
    >>> error = spacing_error_mm(
    ...     stack_mm=52, back_focus_mm=52, filter_thickness_mm=2, refractive_index=1.52
    ... )
    >>> print(round(error, 2))
    -0.68
    """
    stack_mm = positive("stack_mm", stack_mm)
    design = positive("back_focus_mm", back_focus_mm, cure="read it in the flattener's sheet")
    glass = not_negative("filter_thickness_mm", filter_thickness_mm)
    return stack_mm - design - filter_shift_mm(thickness_mm=glass, refractive_index=refractive_index)


def spacing_defocus_um(*, spacing_error_mm, tolerance_mm, allowed_defocus_um):
    """The curvature that a wrong spacing leaves: defocus at the corner while the centre is in focus.

    Parameters
    ----------
    spacing_error_mm : float or array
        Error of the spacing, positive where the sensor is too far from the flattener [mm].
    tolerance_mm : float or array
        Spacing error at which the corner just leaves the allowed defocus, from the flattener's sheet [mm].
    allowed_defocus_um : float or array
        Allowed defocus, to each side, for instance the focus half-zone [µm].

    Returns
    -------
    float or array
        Defocus at the corner [µm]: positive (sensor behind the focus) where the sensor is too close.

    Raises
    ------
    ValueError
        If tolerance or allowed defocus is not positive, or the error beyond ±100 mm.

    Notes
    -----
    −allowed × error/tolerance: a *model*, not a law. How much curvature a millimetre makes depends on the
    flattener; tolerances of 0.3 to 2 mm span it, and this straight line holds for a few tolerances. Its sign
    is the trade's rule, "too close leaves the field curved as the lens made it, too far bends it the other
    way"; a flattener may do the opposite. Make sure by changing the spacing once on purpose.

    References
    ----------
    Derivation: a straight line through no error and no defocus, scaled so that the tolerance is the error at
    which the corner leaves its zone.

    Examples
    --------
    >>> print(round(spacing_defocus_um(spacing_error_mm=-1.6, tolerance_mm=0.8, allowed_defocus_um=33.5), 1))
    67.0
    """
    per_mm = positive("allowed_defocus_um", allowed_defocus_um) / positive("tolerance_mm", tolerance_mm)
    return -per_mm * between("spacing_error_mm", spacing_error_mm, -100, 100, cure="in mm")
