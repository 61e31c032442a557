"""The verdict: best sub, usable range, kept and finished hours with ranges, and what costs most."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date as Date

import numpy as np

from workbook.checks import chosen
from workbook.verdict import hours
from workbook.verdict.conditions import Conditions, conditions
from workbook.verdict.curve import Curve, efficiency_curve
from workbook.verdict.hours import MODES, drawn_rigs
from workbook.verdict.remarks import stand_remark, voltage_remarks
from workbook.verdict.sums import DRAW_NODES, DRAW_PHASES, night_sums

FINAL_PHASES = 256


@dataclass(frozen=True)
class Cause:
    """One thing that takes hours from a night, and who could change it: "rig", "habit", "place" or "sky"."""

    key: str
    words: str
    group: str


CAUSES = (
    Cause("gear", "gear error of the drive", "rig"),
    Cause("axis", "drift of the misaligned axis", "habit"),
    Cause("rotation", "rotation of the field", "rig"),
    Cause("refraction", "drift by refraction", "sky"),
    Cause("guiding", "what guiding leaves: jitter, lag, flexure", "rig"),
    Cause("wind", "gusts", "place"),
    Cause("zenith", "the drive's zenith zone", "rig"),
    Cause("overhead", "pauses between subs", "habit"),
    Cause("read-noise", "read noise", "rig"),
    Cause("dark", "dark current of the warm sensor", "rig"),
    Cause("set-up", "minutes of setting up", "habit"),
    Cause("battery", "batteries that end", "rig"),
    Cause("dew", "dew or frost on the lens", "rig"),
    Cause("horizon", "the view: walls, trees, roof", "place"),
    Cause("sky", "a sky brighter than 21.5 mag/″²", "place"),
    Cause("moon", "moonlight", "sky"),
    Cause("extinction", "light lost in the air", "sky"),
)


@dataclass(frozen=True)
class CauseCost:
    """What one cause costs: finished hours gained if it alone were gone and the sub chosen anew [h]."""

    cause: Cause
    gain_h: float
    best_sub_s: float


@dataclass(frozen=True)
class Verdict:
    """The answer for one passport, target, date, mode and guiding; with no hours left, `reason` says why."""

    rig: str
    target: str
    date: Date
    mode: str
    guided: bool
    asked: str = ""  # the target as the learner wrote it
    reason: str = ""
    notes: tuple[str, ...] = ()
    start_utc: str = ""
    end_utc: str = ""
    dark_h: float = 0.0
    view_h: float = 0.0
    usable_h: float = 0.0
    best_sub_s: float = 0.0
    usable_low_s: float = 0.0
    usable_high_s: float = 0.0
    knee_s: float = 0.0
    efficiency: float = 0.0
    frame_yield: float = 0.0
    duty: float = 0.0
    read_noise_factor: float = 0.0
    kept_h: float = 0.0
    kept_68_h: tuple[float, float] = (0.0, 0.0)
    kept_95_h: tuple[float, float] = (0.0, 0.0)
    finished_h: float = 0.0
    finished_68_h: tuple[float, float] = (0.0, 0.0)
    finished_95_h: tuple[float, float] = (0.0, 0.0)
    costs: tuple[CauseCost, ...] = ()
    measured: tuple[str, ...] = ()
    assumed: tuple[str, ...] = ()
    curve: Curve | None = field(default=None, repr=False)

    @property
    def costs_most(self) -> CauseCost | None:
        """The cause whose removal alone gains most finished hours."""
        return self.costs[0] if self.costs else None

    @property
    def own_costs_most(self) -> CauseCost | None:
        """The same among what the owner can change: rig and habits."""
        return next((cost for cost in self.costs if cost.cause.group in ("rig", "habit")), None)


def verdict(
    passport,
    *,
    target=None,
    date=None,
    mode=None,
    guided=None,
    draws: int = 2000,
    seed: int = 1,
    causes: bool = True,
) -> Verdict:
    """How far this rig goes on one target in one night.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power and habits.
    target : str, optional
        Name in the open deep-sky catalogue; the passport's plan where not given.
    date : datetime.date, optional
        Civil date of the evening; the passport's plan where not given.
    mode : {"alt-az", "tilted"}, optional
        The passport's plan where not given.
    guided : bool, optional
        The passport's plan where not given.
    draws : int
        Monte-Carlo draws over the passport's spreads for the ranges; 0 for none.
    seed : int
        Seed of the draws.
    causes : bool
        Whether to work out what each cause costs, and whether the camera would meet the stand.

    Returns
    -------
    Verdict
        Hours are sums over the minutes of the night; ranges hold 68 % and 95 % of the draws at the best sub. What the
        hours do not look at stands in `notes`: voltages that do not fit and a camera that meets the stand.
    """
    plan = {"target": target, "date": date, "mode": mode, "guided": guided}
    plan = {key: passport[f"plan.{key}"] if value is None else value for key, value in plan.items()}
    chosen("mode", plan["mode"], MODES)
    night = conditions(passport, target=plan["target"], date=plan["date"])
    known = {"rig": passport.name, "date": plan["date"], "mode": plan["mode"], "guided": plan["guided"]}
    known["asked"] = plan["target"]
    known["notes"] = voltage_remarks(passport, guided=plan["guided"])
    if night is None:
        why = (
            "no astronomical night: the Sun does not sink 18° below the horizon on this date at latitude "
            f"{passport['site.latitude_deg']:g}°"
        )
        return Verdict(target=plan["target"], reason=why, **known)
    known |= _times(night) | _evidence(passport)
    known["notes"] = _missing(night.target) + known["notes"]
    how = {"mode": plan["mode"], "guided": plan["guided"]}
    rig = passport.central()
    worth = hours.minutes(rig, night, **how)
    known["usable_h"] = float(worth.usable.sum()) / 60.0
    curve = efficiency_curve(rig, night, **how)
    if curve is None:
        return Verdict(reason=_why_no_minute(rig, night, how), **known)
    costs = ()
    if causes:
        costs = cause_costs(rig, night, how, float(curve.finished_h.max()))
        known["notes"] += tuple(filter(None, [stand_remark(passport, **plan)]))
    best_s = curve.best_sub_s
    central = night_sums(rig, night, sub_s=best_s, nodes=60, phases=FINAL_PHASES, seed=seed, **how)
    kept, finished = (float(v.item()) for v in central)
    reason = "" if finished > 0 else "no sub of a second or longer stays within the tolerance"
    spread = {}
    if draws:
        drawn = drawn_rigs(passport, draws, seed)
        many_kept, many_finished = night_sums(
            drawn, night, sub_s=best_s, nodes=DRAW_NODES, phases=DRAW_PHASES, seed=seed, **how
        )
        for name, values in (("kept", many_kept), ("finished", many_finished)):
            low95, low, high, high95 = np.percentile(values, [2.5, 16.0, 84.0, 97.5]).tolist()
            spread |= {f"{name}_68_h": (low, high), f"{name}_95_h": (low95, high95)}
    peak = int(np.argmin(np.abs(np.log(curve.sub_s / best_s))))
    return Verdict(
        **known,
        reason=reason,
        best_sub_s=best_s,
        usable_low_s=curve.usable_low_s,
        usable_high_s=curve.usable_high_s,
        knee_s=curve.knee_s,
        efficiency=float(curve.efficiency[peak]),
        frame_yield=float(curve.frame_yield[peak]),
        duty=float(hours.duty(rig, best_s)),
        read_noise_factor=float(curve.read_noise_factor[peak]),
        kept_h=kept,
        finished_h=finished,
        costs=costs,
        curve=curve,
        **spread,
    )


def compare(passport, *, target=None, date=None, draws: int = 0, seed: int = 1) -> tuple[Verdict, ...]:
    """The verdict in both modes, unguided and guided, for the same night."""
    return tuple(
        verdict(
            passport, target=target, date=date, mode=mode, guided=guided, draws=draws, seed=seed, causes=False
        )
        for mode in MODES
        for guided in (False, True)
    )


def cause_costs(rig: dict, night: Conditions, how: dict, finished_h: float) -> tuple[CauseCost, ...]:
    """What each cause costs, dearest first; `how` holds mode and guided, `finished_h` the hours with all causes."""
    costs = []
    for cause in CAUSES:
        if not _applies(cause.key, how, rig):
            continue
        better = efficiency_curve(rig, night, without=frozenset({cause.key}), **how)
        gain_h = 0.0 if better is None else max(float(better.finished_h.max()) - finished_h, 0.0)
        costs.append(CauseCost(cause, gain_h, better.best_sub_s if better else 0.0))
    return tuple(sorted(costs, key=lambda cost: -cost.gain_h))


def _applies(key, how, rig):
    """Causes that cannot play in this mode are left out of the list rather than shown as nothing."""
    if key == "guiding":
        return how["guided"]
    if key in ("axis", "refraction"):
        return not how["guided"] or (key == "axis" and how["mode"] == "tilted")
    return key != "zenith" or how["mode"] == "alt-az"


def _why_no_minute(rig, night, how):
    """Name what closes the night, from the first single cause whose removal opens it."""
    if not night.in_view.any():
        return "the target never stands inside the horizon mask in the dark hours of this night"
    for key, words in (
        ("set-up", "setting up takes until the target has left the view"),
        ("zenith", "the target stays in the drive's zenith zone"),
        ("battery", "the batteries end before the target comes into view"),
        ("dew", "the lens is dewed or frosted whenever the target is in view"),
    ):
        if hours.usable(rig, night, without=frozenset({key}), **how).any():
            return words
    return "several causes together leave no minute: view, set-up, batteries, dew"


def _times(night):
    first, last = (str(t)[:16].replace("T", " ") for t in night.times_utc[[0, -1]])
    return {
        "target": night.target.name,
        "start_utc": first,
        "end_utc": last,
        "dark_h": night.dark_h,
        "view_h": float(night.in_view.sum()) / 60.0,
    }


def _missing(thing):
    """What the catalogue does not know of a target, as a note."""
    if not thing.missing:
        return ()
    return (f"{thing.name}: the catalogue gives no {' and no '.join(thing.missing)}",)


def _evidence(passport):
    """Which numbers with a spread were measured, and which are assumed."""
    measured = tuple(filter(passport.is_measured, passport.uncertain_keys()))
    return {"measured": measured, "assumed": tuple(k for k in passport.uncertain_keys() if k not in measured)}
