"""Where one frame lies against another, from the stars that both hold.

The same camera took both, so the scale is the same and only a shift and a turn are sought. Distances between
stars do not change by either: pairs of equal length tell the turn, then the differences of places tell the
shift, and a least-squares fit makes both exact.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from workbook.checks import number

BRIGHTEST = 40  # stars of each frame that look for their partners; all take part in the fit
LENGTH_PX = 1.0  # pairs of one length within this belong together
TURN_DEG = 0.5  # bins in which turns are counted
CELL_PX = 4.0  # bins in which shifts are counted
CATCH_PX = 3.0  # partners in the first fit lie nearer than this
FEWEST = 4  # partners: fewer could agree by chance
STEADY_PX, WIDTH_PX = 0.03, 1.4  # error of a bright star's place, and what is divided by snr for a faint one
TRIES = 6  # turns that are tried, the most frequent first


class AlignmentError(ValueError):
    """Two frames that do not show the same stars."""


class Alignment(NamedTuple):
    """How a sub lies against the reference.

    A star at (x, y) in the reference stands in the sub at centre + turn · ((x, y) − centre) + shift:
    shift_x_px, shift_y_px [px]; turn_deg, positive from x towards y [°]; centre_x_px, centre_y_px, about which
    it turns [px]; stars, how many were matched (0: known, not measured); residual_px, their scatter in each
    axis about the fit, bright ones counting most [px]; sigma_px, the error of each shift that follows [px].
    """

    shift_x_px: float
    shift_y_px: float
    turn_deg: float
    centre_x_px: float
    centre_y_px: float
    stars: int = 0
    residual_px: float = float("nan")
    sigma_px: float = float("nan")

    def places(self, x_px, y_px):
        """Where places of the reference lie in the sub, x_px and y_px [px]."""
        turn = np.radians(self.turn_deg)
        right, up = x_px - self.centre_x_px, y_px - self.centre_y_px
        return (
            self.centre_x_px + right * np.cos(turn) - up * np.sin(turn) + self.shift_x_px,
            self.centre_y_px + right * np.sin(turn) + up * np.cos(turn) + self.shift_y_px,
        )


def known_shift(*, shift_x_px, shift_y_px) -> Alignment:
    """The alignment of a sub that is only shifted, by a known amount.

    >>> x_px, y_px = known_shift(shift_x_px=3.0, shift_y_px=-1.5).places(10.0, 10.0)
    >>> float(x_px), float(y_px)
    (13.0, 8.5)
    """
    return Alignment(number("shift_x_px", shift_x_px), number("shift_y_px", shift_y_px), 0.0, 0.0, 0.0)


def align_stars(*, reference, sub, centre_x_px, centre_y_px) -> Alignment:
    """How a sub is shifted and turned against the reference, from the stars of both.

    Parameters
    ----------
    reference, sub : Stars
        What `find_stars` found; flagged stars take no part.
    centre_x_px, centre_y_px : float
        The place about which the turn is counted, for instance the middle of the frame; it changes the shift,
        not the result [px].

    Returns
    -------
    Alignment
        Shift, turn, number of stars and their scatter.

    Raises
    ------
    AlignmentError
        If fewer than four stars agree on one shift and turn.

    Notes
    -----
    Any shift that leaves common stars, any turn, half turns after a change of sides of the pier included. No
    change of scale, no mirror, no distortion. Partners farther than 3 px, later 4 scatters, from their place
    are left out. Stars count by 1/(0.03² + (1.4/snr)²) px⁻², the error of a place in each frame. The error of a
    shift is the scatter over √Σ weight, that of the turn over √Σ weight · r².

    References
    ----------
    Groth, E. J. (1986), AJ 91, 1244 (matching by distances and votes); least squares for a rotation: Umeyama
    1991, IEEE Trans. PAMI 13, 376, in two dimensions. Tested on drawn stars of known turn and shift.
    """
    centre = np.array([number("centre_x_px", centre_x_px), number("centre_y_px", centre_y_px)])
    ours, theirs = (np.stack([s.x_px, s.y_px], axis=1)[s.usable] for s in (reference, sub))
    our_error, their_error = (np.hypot(STEADY_PX, WIDTH_PX / s.snr[s.usable]) for s in (reference, sub))
    if min(len(ours), len(theirs)) < FEWEST:
        raise AlignmentError(
            f"{min(len(ours), len(theirs))} usable stars are too few to align by ({FEWEST} at least): "
            "lower the threshold, or give the shift"
        )
    best: tuple[int, float, np.ndarray] = (0, 0.0, np.zeros(2))
    for turn in _likely_turns(ours[:BRIGHTEST], theirs[:BRIGHTEST]):
        votes, shift = _likely_shift(_turned(ours[:BRIGHTEST] - centre, turn) + centre, theirs[:BRIGHTEST])
        if votes > best[0]:
            best = votes, turn, shift
    _, turn, shift = best
    catch = CATCH_PX
    one = other = np.array([], int)
    scatter = float("nan")
    for _ in range(6):
        one, other = _partners(_turned(ours - centre, turn) + centre + shift, theirs, catch)
        if len(one) < FEWEST:
            break
        weight = 1 / (our_error[one] ** 2 + their_error[other] ** 2)
        turn, shift = _fit(ours[one] - centre, theirs[other] - centre, weight)
        left = _turned(ours[one] - centre, turn) + shift - (theirs[other] - centre)
        chi2 = float(weight @ (left**2).sum(axis=1)) / max(2 * len(one) - 3, 1)
        scatter = float(np.sqrt(chi2 * len(one) / weight.sum()))
        plain = float(np.sqrt((left**2).mean()))
        catch = min(CATCH_PX, max(4 * plain, 0.05))
    if len(one) < FEWEST or len(one) < 0.2 * min(len(ours), len(theirs), BRIGHTEST):
        raise AlignmentError(
            f"only {len(one)} of {min(len(ours), len(theirs))} stars agree on a shift and a turn: "
            "do both frames show the same field?"
        )
    error = scatter / float(np.sqrt(len(one)))
    shift_x, shift_y = shift.tolist()
    return Alignment(
        shift_x, shift_y, float(np.degrees(turn)), *centre.tolist(), len(one), scatter, sigma_px=error
    )


def _turned(places, turn):
    """Places turned about (0, 0), from x towards y [radians]."""
    cosine, sine = np.cos(turn), np.sin(turn)
    return places @ np.array([[cosine, sine], [-sine, cosine]])


def _likely_turns(ours, theirs):
    """Turns [radians] that many pairs of stars of equal length agree on, the most frequent first."""
    length, angle = _pairs(ours)
    their_length, their_angle = _pairs(theirs)
    order = np.argsort(their_length)
    first = np.searchsorted(their_length[order], length - LENGTH_PX)
    last = np.searchsorted(their_length[order], length + LENGTH_PX)
    many = last - first
    start = np.repeat(first - np.concatenate([[0], np.cumsum(many)[:-1]]), many)
    partner = order[start + np.arange(many.sum())]
    weight = np.repeat(np.minimum(length, 500.0), many)  # long pairs tell the angle better
    turns = np.degrees(their_angle[partner] - np.repeat(angle, many)) % 180.0  # which end is which: not known
    bins = round(180 / TURN_DEG)
    place = np.rint(turns / TURN_DEG).astype(int) % bins
    votes = np.bincount(place, weight, minlength=bins)
    votes = votes + 0.5 * (np.roll(votes, 1) + np.roll(votes, -1))
    likely = []
    for _ in range(TRIES):
        top = int(np.argmax(votes))
        if not votes[top]:
            break
        off = (turns - top * TURN_DEG + 90) % 180 - 90
        near = np.abs(off) <= 1.5 * TURN_DEG
        middle = np.radians(top * TURN_DEG + np.average(off[near], weights=weight[near]))
        likely += [middle, middle + np.pi]
        votes[np.arange(top - 2, top + 3) % bins] = 0
    return [(turn + np.pi) % (2 * np.pi) - np.pi for turn in likely]


def _pairs(places):
    """Length and direction from the one to the other of all pairs."""
    one, other = np.triu_indices(len(places), 1)
    step = places[other] - places[one]
    return np.hypot(*step.T), np.arctan2(step[:, 1], step[:, 0])


def _likely_shift(ours, theirs):
    """The shift that most differences of places agree on, and how many do."""
    steps = (theirs[:, None, :] - ours[None, :, :]).reshape(-1, 2)
    best = 0, np.zeros(2)
    for half in (0.0, 0.5):  # twice, so that no border of a cell parts the votes
        cells = np.floor(steps / CELL_PX + half).astype(np.int64)
        _, which, many = np.unique(cells @ np.array([1 << 20, 1]), return_inverse=True, return_counts=True)
        if many.max() > best[0]:
            best = int(many.max()), np.median(steps[which == np.argmax(many)], axis=0)
    return best


def _partners(ours, theirs, catch_px):
    """Numbers of the stars that are each other's nearest, and nearer than the catch."""
    order = np.argsort(theirs[:, 0])
    first = np.searchsorted(theirs[order, 0], ours[:, 0] - catch_px)
    last = np.searchsorted(theirs[order, 0], ours[:, 0] + catch_px)
    pairs = {}
    for star in np.flatnonzero(last > first):
        near = order[first[star] : last[star]]
        distance = np.hypot(*(theirs[near] - ours[star]).T)
        nearest = int(np.argmin(distance))
        if (
            distance[nearest] <= catch_px
            and distance[nearest] < pairs.get(near[nearest], (catch_px + 1, 0))[0]
        ):
            pairs[near[nearest]] = float(distance[nearest]), star
    other = np.array(list(pairs), int)
    return np.array([star for _, star in pairs.values()], int), other


def _fit(ours, theirs, weight):
    """Weighted least squares: turn [radians] and shift that carry ours onto theirs."""
    our_middle, their_middle = weight @ ours / weight.sum(), weight @ theirs / weight.sum()
    a, b = (ours - our_middle) * weight[:, None], theirs - their_middle
    turn = float(np.arctan2((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum(), (a * b).sum()))
    return turn, their_middle - _turned(our_middle[None], turn)[0]
