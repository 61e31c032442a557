"""From an axis error to turns of the two screws, and what the last adjustment teaches about them.

A response holds what one turn of each screw does to the axis: a 2 × 2 matrix [′/turn], rows azimuth error and
altitude error, columns azimuth screw and altitude screw. On a level base it is diagonal; a base that is not
level couples the two.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import between, number, positive
from workbook.pointing import ARCMIN_PER_RAD, axis_direction, axis_errors

# Screws whose effects differ in direction by less than this are one screw twice.
LEAST_SINE = 0.05


class ScrewTurns(NamedTuple):
    """How to turn the two screws of a mount, and what that does.

    azimuth_turns and altitude_turns, signed as in the response; azimuth_move and altitude_move, where the
    elevated end of the axis goes: "east" or "west", "up" or "down"; seen_from_behind, the same for somebody
    who looks along the axis to the elevated pole: "left" or "right". "" where nothing is to do.
    """

    azimuth_turns: float
    altitude_turns: float
    azimuth_move: str
    seen_from_behind: str
    altitude_move: str


def bolt_arcmin_turn(*, pitch_mm, lever_mm):
    """The angle that one turn of a bolt makes at the end of a lever.

    Parameters
    ----------
    pitch_mm : float or array
        Pitch of the thread [mm].
    lever_mm : float or array
        Distance from the hinge to the bolt [mm].

    Returns
    -------
    float or array
        Angle for one turn [′/turn].

    Raises
    ------
    ValueError
        If a length is not above zero.

    Notes
    -----
    arctan(pitch/lever), for a bolt that pushes square to the lever; elsewhere it is less.

    References
    ----------
    Reference row MEC-16.

    Examples
    --------
    >>> print(round(bolt_arcmin_turn(pitch_mm=1, lever_mm=150), 2))
    22.92
    """
    return ARCMIN_PER_RAD * np.arctan2(positive("pitch_mm", pitch_mm), positive("lever_mm", lever_mm))


def screw_response_arcmin_turn(
    *, azimuth_arcmin_turn, altitude_arcmin_turn, tilt_east_deg, tilt_north_deg, latitude_deg
):
    """What one turn of each screw does to the errors of the axis, on a base that may not be level.

    Parameters
    ----------
    azimuth_arcmin_turn : float
        Turn of the head on its base for one turn of the azimuth screw, positive where it carries the elevated
        end to the east [′/turn].
    altitude_arcmin_turn : float
        Turn of the axis about its hinge for one turn of the altitude screw, positive where it lifts the
        elevated end [′/turn].
    tilt_east_deg : float
        Lean of the base's upright towards east, within ±30 [°].
    tilt_north_deg : float
        Lean of the base's upright towards north, within ±30 [°].
    latitude_deg : float
        Latitude of the place, south negative, up to 88 either way [°].

    Returns
    -------
    array
        Response of shape (2, 2), rows azimuth and altitude error, columns azimuth and altitude screw
        [′/turn].

    Raises
    ------
    ValueError
        If a number is outside its range or a screw does nothing.

    Notes
    -----
    The head turns about the leaning upright b, the axis tips about the hinge, square to b and to the axis.
    A small turn moves the axis by b × m and by hinge × m. To first order the azimuth screw lifts the axis by
    its turn × the lean towards the side; level, it does not at all.

    References
    ----------
    Derivation; in the tests a head turned about a leaning upright, step by step.

    Examples
    --------
    >>> screw_response_arcmin_turn(azimuth_arcmin_turn=30, altitude_arcmin_turn=20, tilt_east_deg=2,
    ...                            tilt_north_deg=0, latitude_deg=50).round(2).tolist()
    [[29.98, 1.69], [-1.05, 19.97]]
    """
    turns = [
        number("azimuth_arcmin_turn", azimuth_arcmin_turn),
        number("altitude_arcmin_turn", altitude_arcmin_turn),
    ]
    for name, turn in zip(("azimuth_arcmin_turn", "altitude_arcmin_turn"), turns, strict=True):
        if turn == 0:
            raise ValueError(f"{name} must not be 0 ′/turn, received 0: such a screw moves nothing")
    latitude = between(
        "latitude_deg", latitude_deg, -88, 88, cure="near a pole of the Earth there is no azimuth"
    )
    east, north = (
        np.radians(between(name, tilt, -30, 30))
        for name, tilt in (("tilt_east_deg", tilt_east_deg), ("tilt_north_deg", tilt_north_deg))
    )
    upright = np.array([np.tan(east), np.tan(north), 1.0])
    upright /= np.linalg.norm(upright)
    side = -1.0 if latitude < 0 else 1.0
    elevated = side * axis_direction(azimuth_error_arcmin=0, altitude_error_arcmin=0, latitude_deg=latitude)
    hinge = np.cross(elevated, upright)
    hinge /= np.linalg.norm(hinge)
    step = 1e-4  # of a radian either way: the errors are read at both ends
    columns = []
    for about, sign, turn in ((upright, -side, turns[0]), (hinge, 1.0, turns[1])):
        # in the north the elevated end goes east when the head turns clockwise seen from above
        ends = [elevated + end * step * sign * np.cross(about, elevated) for end in (1.0, -1.0)]
        read = [np.array(axis_errors(axis=side * end, latitude_deg=latitude)) for end in ends]
        columns.append(turn * (read[0] - read[1]) / (2.0 * step * ARCMIN_PER_RAD))
    return np.column_stack(columns)


def learnt_response_arcmin_turn(
    *,
    response_arcmin_turn,
    azimuth_turns,
    altitude_turns,
    azimuth_change_arcmin,
    altitude_change_arcmin,
):
    """The response corrected by adjustments that were made and measured before and after.

    Parameters
    ----------
    response_arcmin_turn : array
        Response believed so far, of shape (2, 2) [′/turn].
    azimuth_turns : float or sequence
        Turns given to the azimuth screw, one for each adjustment.
    altitude_turns : float or sequence
        Turns given to the altitude screw.
    azimuth_change_arcmin : float or sequence
        Error in azimuth measured after, less that measured before [′].
    altitude_change_arcmin : float or sequence
        Error in altitude measured after, less that measured before [′].

    Returns
    -------
    array
        Response of shape (2, 2) that explains the adjustments and else changes least [′/turn].

    Raises
    ------
    ValueError
        If the lists differ in length, nothing was turned, or a value is not finite.

    Notes
    -----
    R + (D − R T) T⁺ with T the turns, D the changes and T⁺ the pseudo-inverse: after one adjustment the rank-one
    update of Broyden, after two different ones the response itself, after more the least squares. Errors of
    the measurement go in whole: turn far enough that the change is well above them. Play in the screw is
    ignored; end each adjustment in the same sense.

    References
    ----------
    Broyden, C. G. (1965), Mathematics of Computation 19, 577, doi 10.1090/S0025-5718-1965-0198670-6 (recalled).

    Examples
    --------
    >>> learnt_response_arcmin_turn(response_arcmin_turn=[[30, 0], [0, 20]], azimuth_turns=-1, altitude_turns=0,
    ...     azimuth_change_arcmin=-24, altitude_change_arcmin=1).round(2).tolist()
    [[24.0, 0.0], [-1.0, 20.0]]
    """
    before = _response(response_arcmin_turn)
    names = ("azimuth_turns", "altitude_turns", "azimuth_change_arcmin", "altitude_change_arcmin")
    given = (azimuth_turns, altitude_turns, azimuth_change_arcmin, altitude_change_arcmin)
    lists = [np.atleast_1d(number(name, value)) for name, value in zip(names, given, strict=True)]
    if len({part.shape for part in lists}) > 1 or lists[0].ndim > 1:
        raise ValueError(
            f"{', '.join(names)} must have one length, received {', '.join(str(part.size) for part in lists)}"
        )
    if not np.isfinite(lists).all():
        raise ValueError("turns and changes must be finite, received NaN or inf: leave that adjustment out")
    turns, changes = np.stack(lists[:2]), np.stack(lists[2:])
    if not np.any(turns):
        raise ValueError("azimuth_turns and altitude_turns must not all be 0, received nothing but 0")
    return before + (changes - before @ turns) @ np.linalg.pinv(turns)


def screw_turns(
    *, azimuth_error_arcmin, altitude_error_arcmin, response_arcmin_turn, latitude_deg
) -> ScrewTurns:
    """How far to turn each screw to bring the axis to the pole.

    Parameters
    ----------
    azimuth_error_arcmin : float
        Error in azimuth of the elevated end, positive to the east [′].
    altitude_error_arcmin : float
        Error in altitude of the elevated end, positive high [′].
    response_arcmin_turn : array
        What one turn of each screw does, of shape (2, 2) [′/turn].
    latitude_deg : float
        Latitude of the place, south negative [°]; decides what is left and right.

    Returns
    -------
    ScrewTurns
        Turns of both screws, and where the elevated end goes.

    Raises
    ------
    ValueError
        If an error is beyond ±5400′ or not finite, or both screws do the same.

    Notes
    -----
    −R⁻¹ × errors. Look along the axis to the elevated pole: in the north east is at your right, in the south at
    your left. Large adjustments need a second round, since the response changes on the way.

    References
    ----------
    Derivation; in the tests the screws are turned step by step until the axis stands on the pole.

    Examples
    --------
    >>> turn = screw_turns(azimuth_error_arcmin=30, altitude_error_arcmin=-10,
    ...                    response_arcmin_turn=[[30, 0], [0, 20]], latitude_deg=-34)
    >>> print(turn.azimuth_turns, turn.azimuth_move, turn.seen_from_behind, turn.altitude_turns)
    -1.0 west right 0.5
    """
    response = _response(response_arcmin_turn)
    if abs(np.linalg.det(response)) < LEAST_SINE * np.prod(np.linalg.norm(response, axis=0)):
        raise ValueError(
            f"response_arcmin_turn must hold two different screws, received {response.tolist()} ′/turn: both do "
            "nearly the same; measure each screw alone"
        )
    errors = np.array(
        [
            between("azimuth_error_arcmin", azimuth_error_arcmin, -5400, 5400),
            between("altitude_error_arcmin", altitude_error_arcmin, -5400, 5400),
        ]
    )
    if not np.isfinite(errors).all():
        raise ValueError("azimuth_error_arcmin and altitude_error_arcmin must be finite, received NaN")
    turns = -np.linalg.solve(response, errors)
    south = between("latitude_deg", latitude_deg, -90, 90) < 0
    move = _word(-errors[0], "east", "west")
    beside = _word(-errors[0] * (-1 if south else 1), "right", "left")
    return ScrewTurns(float(turns[0]), float(turns[1]), move, beside, _word(-errors[1], "up", "down"))


def _word(value, positive_word, negative_word):
    return positive_word if value > 0 else negative_word if value < 0 else ""


def _response(response_arcmin_turn):
    response = np.asarray(number("response_arcmin_turn", response_arcmin_turn))
    if response.shape != (2, 2) or not np.isfinite(response).all():
        raise ValueError(
            "response_arcmin_turn must be 2 × 2 finite numbers, rows azimuth and altitude error, received "
            f"{response_arcmin_turn!r}"
        )
    return response
