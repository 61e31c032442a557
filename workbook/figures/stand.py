"""The stand: the arm as a lever, the rig from the side, torque over the full turn, and the feet from above."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from matplotlib.patches import Polygon

from workbook.balance import Stability, tipping_distance_m
from workbook.figures import look as looks

HEIGHT_PX = 520
LIMITS_N_M = (0.5, 1.0, 2.0, 5.0, 10.0, 20.0)
FEET_DEG = np.array([0.0, 120.0, 240.0])
WEIGHT_MM, WEIGHT_HIGH_MM = 24.0, 90.0  # the counterweight as drawn, along the bar and across it
APEX_M = 0.05  # the top of the legs, below the hinge


class Stood(NamedTuple):
    """A rig on its legs.

    Lever: load [kg, mm, N·m], where the counterweight would balance and where it stands [mm], ends of the bar from
    the axis [mm], moment left with the arm level [N·m], sag of the bar [mm] and its own swing [Hz]. Side: heights of
    axes, hinge arm, column, levelling base [m], outline of the tube [mm], centre of mass beside the feet's middle
    towards the pole and, where a moment is left, sideways, and its height [m]. Torques [N·m] over the turn [°], the
    strongest gust's [N·m]. Frequency [Hz], trembling [s], share of subs that gusts leave. Steady wind that tips it
    [m/s]; best direction of a leg, north through east [°], and the tip margin with it [m]. `ranges_68`: of
    trembling, tip margin, counterweight's place, that share, push and wind that tip it, and the best margin.
    """

    latitude_deg: float
    load_kg: float
    load_arm_mm: float
    counterweight_kg: float
    wanted_mm: float
    stands_mm: float
    bar_mm: tuple[float, float]
    load_n_m: float
    left_n_m: float
    bar_sag_mm: float
    bar_swing_hz: float
    axes_m: float
    hinge_m: float
    column_m: float
    leveller_m: float
    tube_mm: tuple
    total_kg: float
    out_m: float
    beside_m: float
    centre_m: float
    foot_circle_m: float
    leg_turn_deg: float
    steady: Stability
    tips_m_s: float
    best_leg_deg: float
    best_margin_m: float
    turn_deg: np.ndarray
    primary_n_m: np.ndarray | None
    secondary_n_m: np.ndarray | None
    gust_n_m: float
    gust_m_s: float
    wind: str
    frequency_hz: float
    settle_s: float
    sub_s: float
    wind_yield: float
    ranges_68: tuple | None = None

    @property
    def bar_state(self) -> str:
        """fits, short (bar too short) or close (weight cannot come close enough)."""
        if abs(self.left_n_m) < 1e-9:
            return "fits"
        return "short" if self.left_n_m > 0 else "close"

    @property
    def distances_m(self) -> np.ndarray:
        """From the centre of mass to the three lines between the feet, on its weaker side."""
        return tipping_distance_m(
            foot_circle_m=self.foot_circle_m,
            leg_deg=self.leg_turn_deg,
            overhang_m=float(np.hypot(self.out_m, self.beside_m)),
            overhang_deg=float(np.degrees(np.arctan2(self._weak_beside_m, self.out_m))),
        )

    @property
    def _weak_beside_m(self):
        """The centre leans to the side on which the margin is smaller."""
        return self.beside_m if self.steady.weak_side_deg <= 180.0 else -self.beside_m


class Artists(NamedTuple):
    """What moves."""

    bar: object
    load: object
    weight: object
    pulls: list
    load_words: object
    weight_words: object
    ghost: object
    ghost_words: object
    legs: list
    column: object
    leveller: object
    hinge: object
    axis: object
    arm: object
    rod: object
    tube: object
    hung: object
    plumb: object
    centre: object
    side_words: object
    curves: list
    gust: object
    feet: object
    outline: object
    middle: object
    ways: list
    way_words: list
    feet_words: object


def create(figure, look):
    """The rig on the left; on the right the lever above, torque and feet below."""
    grid = figure.add_gridspec(2, 3, width_ratios=[0.86, 1.16, 0.92], height_ratios=[0.48, 1.0])
    side, lever = figure.add_subplot(grid[:, 0]), figure.add_subplot(grid[0, 1:])
    torque, above = figure.add_subplot(grid[1, 1]), figure.add_subplot(grid[1, 2])
    moving = _side(side, look) | _lever(lever, look) | _torque(torque, look) | _above(above, look)
    shown = [*moving["curves"], moving["gust"], moving["axis"], moving["centre"]]
    figure.legend(
        handles=shown, loc="outside upper left", ncols=5, frameon=False, handlelength=2.6, columnspacing=1.1
    )
    looks.apply(look, figure)
    return Artists(**moving)


def _lever(ax, look):
    ax.set(xlim=(-290, 390), ylim=(-1.0, 1.35), xlabel="from the primary axis [mm]")
    ax.set_title("The arm, laid level")
    ax.set_yticks([])
    ax.grid(True, axis="x")
    thick = {"color": look.ink, "solid_capstyle": "butt"}
    ax.plot([0], [-0.22], marker="^", markersize=13, color=look.ink, linestyle="none", zorder=3)
    bar = ax.plot([], [], linewidth=4, zorder=2, **thick)[0]
    load = _block(ax, look.grid, look.accent, zorder=4)
    weight = _block(ax, look.grid, look.strokes["second"].colour, zorder=4)
    pulls = [ax.plot([], [], zorder=3, **look.line(role))[0] for role in ("first", "second")]
    for pull in pulls:
        pull.set(linestyle="-", linewidth=3, marker="v", markevery=[1], markersize=9)
    words = look.words() | {"va": "top", "zorder": 6}
    load_words = ax.text(-284, 1.27, "", ha="left", **words)
    weight_words = ax.text(384, 1.27, "", ha="right", **words)
    ghost = _block(ax, "none", look.strokes["ghost"].colour, zorder=5, linestyle="--", visible=False)
    ghost_words = ax.text(36, 1.27, "", ha="center", visible=False, **words)
    return {
        "bar": bar, "load": load, "weight": weight, "pulls": pulls, "load_words": load_words,
        "weight_words": weight_words, "ghost": ghost, "ghost_words": ghost_words,
    }  # fmt: skip


def _side(ax, look):
    ax.set(
        aspect="equal", xlim=(-0.55, 0.55), ylim=(-0.06, 2.12),
        xlabel="towards the pole → [m]", ylabel="above the ground [m]",
    )  # fmt: skip
    ax.set_title("Parked, from the side")
    ax.set_xticks([-0.4, 0.0, 0.4])
    ax.set_yticks([0.0, 0.5, 1.0, 1.5, 2.0])
    ax.axhline(0.0, color=look.quiet, linewidth=2, zorder=1)
    thick = {"color": look.ink, "solid_capstyle": "round"}
    legs = [ax.plot([], [], linewidth=4, zorder=3, **thick)[0] for _ in FEET_DEG]
    column = ax.plot([], [], linewidth=8, zorder=3, color=look.quiet, solid_capstyle="butt")[0]
    leveller = ax.plot([], [], linewidth=20, zorder=3, color=look.quiet, solid_capstyle="butt")[0]
    hinge = ax.plot([], [], linewidth=7, zorder=3, **thick)[0]
    axis = ax.plot([], [], zorder=2, label="primary axis", **(look.line("limit") | {"linewidth": 1.6}))[0]
    arm = ax.plot([], [], linewidth=5, zorder=4, **thick)[0]
    rod = ax.plot([], [], linewidth=3, zorder=3, **thick)[0]
    tube = _block(ax, look.grid, look.accent, zorder=5)
    hung = _block(ax, look.grid, look.strokes["second"].colour, zorder=5)
    plumb = ax.plot([], [], zorder=6, **(look.line("third") | {"linewidth": 1.8}))[0]
    ball = look.dots("third") | {"markersize": 13, "markeredgecolor": look.ground}
    centre = ax.plot([], [], zorder=7, label="centre of mass", **ball)[0]
    words = ax.text(0.0, 2.09, "", ha="center", va="top", zorder=8, **look.words())
    return {
        "legs": legs, "column": column, "leveller": leveller, "hinge": hinge, "axis": axis, "arm": arm, "rod": rod,
        "tube": tube, "hung": hung, "plumb": plumb, "centre": centre, "side_words": words,
    }  # fmt: skip


def _torque(ax, look):
    ax.set(xlim=(-180, 180), ylim=(-0.5, 0.5), xlabel="turn of that axis [°]", ylabel="torque left [N·m]")
    ax.set_title("Over the full turn")
    ax.set_xticks([-180, -90, 0, 90, 180], ["−180", "−90", "0", "90", "180"])
    ax.grid(True)
    gust = ax.axhspan(0.0, 0.0, color=look.band, zorder=1, label="strongest gust")
    curves = [
        ax.plot([], [], zorder=4, label=label, **look.line(role))[0]
        for role, label in (("first", "torque, primary"), ("second", "torque, secondary"))
    ]
    return {"curves": curves, "gust": gust}


def _above(ax, look):
    ax.set(aspect="equal", xlim=(-0.52, 0.52), ylim=(-0.72, 0.5))
    ax.set(title="Feet from above, mm", xlabel="top: the pole's side")
    ax.set_xticks([])
    ax.set_yticks([])
    outline = Polygon([[0, 0], [0, 1], [1, 0]], facecolor="none", edgecolor=look.ink, linewidth=2, zorder=2)
    ax.add_patch(outline)
    feet = ax.plot([], [], linestyle="none", marker="o", markersize=12, color=look.ink, zorder=3)[0]
    middle = ax.plot(
        [], [], zorder=6, **(look.dots("third") | {"markersize": 13, "markeredgecolor": look.ground})
    )[0]
    ways = [ax.plot([], [], zorder=4, **look.line("third"))[0] for _ in FEET_DEG]
    paper = {"boxstyle": "square,pad=0.1", "facecolor": look.ground, "edgecolor": "none"}
    way_words = [
        ax.text(0, 0, "", ha="center", va="center", zorder=5, bbox=paper, **look.words()) for _ in FEET_DEG
    ]
    words = ax.text(0.5, 0.02, "", ha="center", va="bottom", transform=ax.transAxes, zorder=6, **look.words())
    return {
        "feet": feet, "outline": outline, "middle": middle, "ways": ways, "way_words": way_words, "feet_words": words,
    }  # fmt: skip


def _block(ax, face, edge, **how):
    block = Polygon([[0, 0], [0, 1], [1, 1]], facecolor=face, edgecolor=edge, linewidth=2.2, **how)
    ax.add_patch(block)
    return block


def update(artists, result, ghost):
    """Move everything; True where the torque needs another scale."""
    _move_lever(artists, result, ghost)
    _move_side(artists, result)
    _move_above(artists, result)
    for line, values in zip(artists.curves, (result.primary_n_m, result.secondary_n_m), strict=True):
        line.set_data(result.turn_deg, values)
    most = max(np.abs(result.primary_n_m).max(), np.abs(result.secondary_n_m).max(), result.gust_n_m)
    limit = next((step for step in LIMITS_N_M if most <= 0.75 * step), LIMITS_N_M[-1])
    artists.gust.set_y(-result.gust_n_m)
    artists.gust.set_height(2.0 * result.gust_n_m)
    ax = artists.curves[0].axes
    if ax.get_ylim()[1] == limit:
        return False
    ax.set_ylim(-limit, limit)
    return True


def _move_lever(artists, result, ghost):
    artists.bar.set_data([-result.load_arm_mm, result.bar_mm[1]], [0.0, 0.0])
    artists.load.set_xy(_box(-result.load_arm_mm, 0.0, 26.0, 0.3))
    artists.weight.set_xy(_box(result.stands_mm, 0.0, 0.5 * WEIGHT_MM, 0.3))
    places = (-result.load_arm_mm, result.stands_mm)
    for pull, place, kilograms in zip(
        artists.pulls, places, (result.load_kg, result.counterweight_kg), strict=True
    ):
        pull.set_data([place, place], [-0.3, -0.34 - 0.11 * min(kilograms, 5.0)])
    artists.load_words.set_text(
        f"load {result.load_kg:g} kg at {result.load_arm_mm:g} mm\npulls {result.load_n_m:.2f} N·m"
    )
    held = f"weight {result.counterweight_kg:g} kg at {result.stands_mm:.0f} mm\n"
    artists.weight_words.set_text(
        held + {"fits": "with its bar: the same", "short": f"too little by {abs(result.left_n_m):.2f} N·m",
                "close": f"too much by {abs(result.left_n_m):.2f} N·m"}[result.bar_state]
    )  # fmt: skip
    for artist in (artists.ghost, artists.ghost_words):
        artist.set_visible(ghost is not None)
    if ghost is not None:
        artists.ghost.set_xy(_box(min(ghost, 372.0), 0.0, 0.5 * WEIGHT_MM, 0.42))
        artists.ghost_words.set_text(f"dashed: your\nguess {ghost:.0f} mm")


def _move_side(artists, result):
    up = np.radians(abs(result.latitude_deg))
    along, across = np.array([np.cos(up), np.sin(up)]), np.array([-np.sin(up), np.cos(up)])
    axes = np.array([result.hinge_m * along[0], result.axes_m])
    hinge = axes - result.hinge_m * along
    lifted = result.column_m + result.leveller_m
    apex = hinge[1] - lifted - APEX_M
    feet = result.foot_circle_m * np.cos(np.radians(result.leg_turn_deg + FEET_DEG))
    for leg, foot in zip(artists.legs, feet, strict=True):
        leg.set_data([0.0, foot], [apex, 0.0])
    artists.column.set_data([0.0, 0.0], [apex, hinge[1]])
    artists.leveller.set_data(
        ([0.0, 0.0], [apex, apex + result.leveller_m]) if result.leveller_m else ([], [])
    )
    artists.hinge.set_data(*np.array([hinge, axes]).T)
    artists.axis.set_data(*np.array([axes - 0.16 * along, axes + 0.36 * along]).T)
    arm, rod = axes + 1e-3 * result.load_arm_mm * across, axes - 1e-3 * result.bar_mm[1] * across
    artists.arm.set_data(*np.array([axes, arm]).T)
    artists.rod.set_data(*np.array([axes, rod]).T)
    outline = [(x, y) for x, y in result.tube_mm] + [(x, -y) for x, y in reversed(result.tube_mm)]
    artists.tube.set_xy([arm + 1e-3 * (x * along + y * across) for x, y in outline])
    weight = axes - 1e-3 * result.stands_mm * across
    corners = _box(0.0, 0.0, 0.5 * WEIGHT_MM, 0.5 * WEIGHT_HIGH_MM)
    artists.hung.set_xy([weight + 1e-3 * (x * across + y * along) for x, y in corners])
    artists.plumb.set_data([result.out_m, result.out_m], [0.0, result.centre_m])
    artists.centre.set_data([result.out_m], [result.centre_m])
    artists.side_words.set_text(f"{result.centre_m:.2f} m up, {1e3 * result.out_m:.0f} mm out")


def _move_above(artists, result):
    legs = np.radians(result.leg_turn_deg + FEET_DEG)
    radius = result.foot_circle_m
    feet = radius * np.stack([np.sin(legs), np.cos(legs)])
    artists.outline.set_xy(feet.T)
    artists.feet.set_data(*feet)
    centre = np.array([result._weak_beside_m, result.out_m])
    artists.middle.set_data([centre[0]], [centre[1]])
    distances = result.distances_m
    weakest = int(np.argmin(distances))
    for k, (way, words, distance) in enumerate(zip(artists.ways, artists.way_words, distances, strict=True)):
        angle = legs[k] + np.radians(60.0)
        out = np.array([np.sin(angle), np.cos(angle)])
        foot = centre + distance * out
        way.set_data(*np.array([centre, foot]).T)
        way.set_linewidth(4.0 if k == weakest else 1.6)
        way.set_linestyle("-" if k == weakest else (0, (2, 2)))
        words.set_position(foot + (0.12 if abs(out[0]) > 0.5 else 0.08) * out)
        words.set_text(f"{1e3 * distance:.0f}")
        words.set_fontweight("bold" if k == weakest else "normal")
    steady = result.steady
    artists.feet_words.set_text(
        f"tips at a slope of {steady.slope_deg:.0f}°\nor a push of {steady.push_n:.0f} N"
    )
    ax, reach = artists.middle.axes, 1.24 * radius
    if ax.get_xlim()[1] != reach:
        ax.set(xlim=(-reach, reach), ylim=(-1.72 * radius, 1.24 * radius))


def _box(x, y, half, high):
    return [[x - half, y - high], [x + half, y - high], [x + half, y + high], [x - half, y + high]]


def describe(result):
    """The picture in one sentence."""
    lever = {
        "fits": f"stands in balance {result.stands_mm:.0f} mm from the axis",
        "short": f"stands at the end of its bar and leaves {abs(result.left_n_m):.2f} N·m",
        "close": f"stands as close as it can and is {abs(result.left_n_m):.2f} N·m too much",
    }[result.bar_state]
    wind, best = (result.ranges_68 or (None,) * 7)[5:]
    return (
        f"A load of {result.load_kg:g} kg at {result.load_arm_mm:g} mm pulls with {result.load_n_m:.2f} N·m; the "
        f"weight of {result.counterweight_kg:g} kg {lever}. Over the full turn up to "
        f"{_most(result.primary_n_m):.2f} N·m are left about the primary axis and "
        f"{_most(result.secondary_n_m):.2f} about the secondary. The centre of mass is {result.centre_m:.2f} m up "
        f"and {1e3 * result.out_m:.0f} mm towards the pole, {1e3 * result.steady.margin_m:.0f} mm inside the nearest "
        f"line between two feet. A steady wind of {result.tips_m_s:.0f} m/s{_bracket(wind, 1.0)} tips it. Best points "
        f"a leg {compass(result)}: then {1e3 * result.best_margin_m:.0f} mm{_bracket(best, 1e3)} are left."
    )


def table(result):
    """The numbers of the picture."""
    settle, margin, place, share, push, wind, best = result.ranges_68 or (None,) * 7
    return [
        ("what", "value", "68 % range"),
        ("moment of the load", f"{result.load_n_m:.2f} N·m", "–"),
        ("weight balances at", f"{result.wanted_mm:.0f} mm", _between(place, 1.0, 0, " mm")),
        ("left with the arm level", f"{result.left_n_m:.2f} N·m".replace("-", "−"), "–"),
        ("left at most, primary axis", f"{_most(result.primary_n_m):.2f} N·m", "–"),
        ("left at most, secondary axis", f"{_most(result.secondary_n_m):.2f} N·m", "–"),
        (f"strongest gust, {result.wind}", f"{result.gust_n_m:.2f} N·m", "–"),
        ("bar sinks under the weight", f"{result.bar_sag_mm:.2f} mm", "–"),
        ("trembles at", f"{result.frequency_hz:.1f} Hz", "–"),
        ("trembles after a touch", f"{result.settle_s:.1f} s", _between(settle, 1.0, 1, " s")),
        (f"subs of {result.sub_s:.0f} s that gusts leave", f"{100 * result.wind_yield:.0f} %",
         _between(share, 100.0, 0, " %")),
        ("mass on the feet", f"{result.total_kg:.1f} kg", "–"),
        ("height of the centre of mass", f"{result.centre_m:.2f} m", "–"),
        ("tip margin, weakest side", f"{1e3 * result.steady.margin_m:.0f} mm", _between(margin, 1e3, 0, " mm")),
        ("tip margins, all three sides", ", ".join(f"{1e3 * d:.0f}" for d in result.distances_m) + " mm", "–"),
        ("push at the axes that tips it", f"{result.steady.push_n:.0f} N", _between(push, 1.0, 0, " N")),
        ("slope that tips it", f"{result.steady.slope_deg:.0f}°", "–"),
        ("steady wind that tips it (head and legs assumed)", f"{result.tips_m_s:.0f} m/s",
         _between(wind, 1.0, 0, " m/s")),
        (f"tip margin with a leg {compass(result)}, the best", f"{1e3 * result.best_margin_m:.0f} mm",
         _between(best, 1e3, 0, " mm")),
    ]  # fmt: skip


def compass(result):
    """The best direction of a leg in words: there the pole is up, or, far out of balance, away from it."""
    return f"due {'north' if result.best_leg_deg == 0.0 else 'south'} ({result.best_leg_deg:.0f}°)"


def _bracket(ends, factor):
    return f" ({factor * ends[0]:.0f} to {factor * ends[1]:.0f})" if ends else ""


def _most(values):
    return float(np.abs(values).max())


def _between(ends, factor, digits, unit):
    return f"{factor * ends[0]:.{digits}f} to {factor * ends[1]:.{digits}f}{unit}" if ends else "–"
