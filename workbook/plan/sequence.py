"""The order of an evening: which target when, found by looking back from dawn, and why the others are left out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date as Date

import numpy as np

from workbook.checks import chosen, not_negative, positive
from workbook.verdict import LOST, Ribbon, conditions, ribbon
from workbook.verdict.answer import DRAW_NODES, DRAW_PHASES, MODES, drawn_rigs, night_sums

SLOT_MIN = 5


@dataclass(frozen=True)
class Block:
    """One target for a stretch of the night; start and end [UTC], pointing included; sub [s], finished hours [h].

    finished_68_h, their 68 % range over the passport's spreads, None where not drawn [h].
    """

    target: str
    start_utc: np.datetime64
    end_utc: np.datetime64
    sub_s: float
    finished_h: float
    finished_68_h: tuple[float, float] | None = None


@dataclass(frozen=True)
class Sequence:
    """The evening in order, with the reason for every target that is left out."""

    date: Date
    mode: str
    guided: bool
    blocks: tuple[Block, ...]
    rejected: dict[str, str]
    finished_h: float
    note: str = ""
    finished_68_h: tuple[float, float] | None = None

    def as_text(self) -> str:
        """The sequence as lines of text, times in UTC."""
        lines = [f"Night of {self.date.isoformat()}, {self.mode}, {_finished(self)}"]
        lines += [self.note] if self.note else []
        for block in self.blocks:
            lines.append(
                f"{_clock(block.start_utc)} to {_clock(block.end_utc)}  {block.target}, "
                f"sub {block.sub_s:.0f} s, {_finished(block)}"
            )
        if self.blocks:
            drawn = self.finished_68_h is not None
            lines.append(
                "(a to b): holds 68 of 100 nights, these times kept" if drawn else "about: no ranges drawn"
            )
        lines += [f"left out: {name}, {words}" for name, words in self.rejected.items()]
        return "\n".join(lines)


def sequence(
    passport,
    *,
    targets,
    date=None,
    mode=None,
    guided=None,
    switch_min: float = 5.0,
    least_min: float = 30.0,
    draws: int = 200,
    seed: int = 1,
) -> Sequence:
    """Which target when, for most finished hours in all.

    Parameters
    ----------
    passport : Passport
        Rig, site, sky, power and habits.
    targets : sequence of str
        Names in the open deep-sky catalogue, as many as one would shoot: up to twenty.
    date, mode, guided : optional
        As in `verdict.verdict`.
    switch_min : float
        Minutes that every change of target costs: slew, centring, focus; 5 until you have timed your own [min].
    least_min : float
        Shortest stretch worth stopping for [min]; half an hour unless you want less.
    draws, seed : int
        Draws over the passport's spreads for the ranges; 0 for none.

    Returns
    -------
    Sequence
        Blocks in order, and for every other target the reason in words, with what taking it would cost.

    Raises
    ------
    ValueError
        If a name is unknown, none or more than twenty are given, or a number is negative.

    Notes
    -----
    A dynamic programme over slots of five minutes: from dawn backwards, each slot either goes on with its target or
    changes for another, which then keeps the scope for at least `least_min`. Each target keeps the one sub that is best
    for its whole night, and all targets count alike, so that a sequence is fair only among targets that need about the
    same hours. Usable minutes are those of `verdict.ribbon`: clear of the legs, too.
    Ranges are those of this sequence with its times kept: a battery that lasts longer than expected adds nothing.

    References
    ----------
    R. Bellman, 1957, Dynamic Programming, Princeton University Press, chapter III.
    """
    plan = {"date": date, "mode": mode, "guided": guided}
    plan = {key: passport[f"plan.{key}"] if value is None else value for key, value in plan.items()}
    chosen("mode", plan["mode"], MODES)
    targets = list(dict.fromkeys([targets] if isinstance(targets, str) else targets))
    if not 1 <= len(targets) <= 20:
        raise ValueError(f"targets must name one to twenty objects, received {len(targets)}")
    wasted = int(np.ceil(not_negative("switch_min", float(switch_min)) / SLOT_MIN))
    least = max(1, int(np.ceil(positive("least_min", float(least_min)) / SLOT_MIN)))
    nights = {name: ribbon(passport, target=name, draws=0, **plan) for name in targets}
    if nights[targets[0]].reason:
        note = nights[targets[0]].reason
        return Sequence(**plan, blocks=(), rejected=dict.fromkeys(targets, note), finished_h=0.0, note=note)
    rejected = {}
    for name, seen in nights.items():
        words = _no_use(seen, least * SLOT_MIN)
        if words:
            rejected[name] = words
    names = [name for name in targets if name not in rejected]
    if not names:
        return Sequence(**plan, blocks=(), rejected=rejected, finished_h=0.0)
    worth = np.stack([_slots(nights[name]) for name in names], axis=1)
    total, path = best_path(worth, wasted, least)
    times_utc = nights[names[0]].times_utc
    blocks = tuple(_blocks(path, names, worth, nights, times_utc))
    blocks, range_h = _with_ranges(passport, plan, blocks, nights, draws, seed)
    used = {block.target for block in blocks}
    for at, name in enumerate(names):
        if name not in used:
            rejected[name] = _outdone(at, names, worth, path, total, wasted, least, times_utc)
    return Sequence(
        **plan,
        blocks=blocks,
        rejected={name: rejected[name] for name in targets if name in rejected},
        finished_h=float(total),
        finished_68_h=range_h,
    )


def best_path(worth, wasted: int, least: int, forced: int | None = None):
    """The most that a night can give, and the target of every slot.

    Parameters
    ----------
    worth : array (slots, targets)
        What a slot gives to each target; 0 where it cannot be used.
    wasted : int
        Slots that a change of target costs; the first target costs none.
    least : int
        Slots, all of them giving something, with which every stretch begins.
    forced : int, optional
        A target that must have a stretch.

    Returns
    -------
    tuple
        Total, −inf where a forced target has no room, and an array (slots,) of target numbers; −1 while pointing or
        waiting for the first.
    """
    slots, count = worth.shape
    summed = np.concatenate([np.zeros((1, count)), np.cumsum(worth, axis=0)])
    giving = np.concatenate([np.zeros((1, count), int), np.cumsum(worth > 0.0, axis=0)])
    # What the rest of the night gives: `free` with nothing owed, `owed` with the forced target still to come.
    free = np.zeros((slots + 1, count + 1))  # the last column: no target yet
    owed = np.full((slots + 1, count + 1), -np.inf)
    choice = np.full((2, slots + 1, count + 1), -1)

    def entered(slot, later, lost):
        """What each target gives when one changes to it now."""
        begin, end = slot + lost, slot + lost + least
        if end > slots:
            return np.full(count, -np.inf)
        whole = giving[end] - giving[begin] == least
        return np.where(whole, summed[end] - summed[begin] + later[end, :count], -np.inf)

    for slot in range(slots - 1, -1, -1):
        for layer, value in enumerate((free,) if forced is None else (free, owed)):
            for columns, lost in ((slice(0, count), wasted), (slice(count, count + 1), 0)):
                change = entered(slot, value, lost)
                if layer:
                    change[forced] = entered(slot, free, lost)[forced]
                gain = worth[slot] if lost == wasted and columns.start == 0 else 0.0
                stay = gain + value[slot + 1, columns]
                best = int(change.argmax())
                moved = change[best] > stay
                value[slot, columns] = np.where(moved, change[best], stay)
                choice[layer, slot, columns] = np.where(moved, best, -1)
    start = free if forced is None else owed
    return float(start[0, count]), _walk(choice, count, slots, wasted, least, forced)


def _walk(choice, count, slots, wasted, least, forced):
    path = np.full(slots, -1)
    now, slot, layer = count, 0, 0 if forced is None else 1
    while slot < slots:
        other = int(choice[layer, slot, now])
        if other < 0:
            path[slot] = now if now < count else -1
            slot += 1
            continue
        begin = slot + (wasted if now < count else 0)
        now, slot = other, min(begin + least, slots)
        path[begin:slot] = now
        layer = 0 if now == forced else layer
    return path


def _slots(rates):
    """Finished hours of every slot of a night."""
    minutes = rates.usable * rates.finished_rate / 60.0
    whole = -(-len(minutes) // SLOT_MIN) * SLOT_MIN
    return np.pad(minutes, (0, whole - len(minutes))).reshape(-1, SLOT_MIN).sum(axis=1)


def _blocks(path, names, worth, nights, times_utc):
    """Stretches of the path that give something, trimmed to where they do."""
    start = 0
    for slot in range(1, len(path) + 1):
        if slot < len(path) and path[slot] == path[start]:
            continue
        at, first, last = int(path[start]), start, slot
        start = slot
        if at < 0:
            continue
        giving = np.flatnonzero(worth[first:last, at] > 0.0)
        if giving.size:
            name = names[at]
            yield Block(
                target=name,
                start_utc=_edge(times_utc, first + int(giving[0])),
                end_utc=_edge(times_utc, first + int(giving[-1]) + 1),
                sub_s=nights[name].sub_s,
                finished_h=float(worth[first:last, at].sum()),
            )


def _with_ranges(passport, plan, blocks, nights, draws, seed):
    """The blocks with ranges, and that of their sum: the same draws for all."""
    if not draws:
        return blocks, None
    rigs = drawn_rigs(passport, draws, seed)
    how = {"mode": plan["mode"], "guided": plan["guided"], "nodes": DRAW_NODES, "phases": DRAW_PHASES}
    total, ranged = np.zeros(draws), []
    for block in blocks:
        seen = nights[block.target]
        inside = (seen.times_utc > block.start_utc) & (seen.times_utc < block.end_utc)
        minutes = np.flatnonzero(inside & seen.in_view & seen.clear_of_legs)
        night = conditions(passport, target=block.target, date=plan["date"]).at(minutes)
        _, drawn_h = night_sums(rigs, night, sub_s=block.sub_s, seed=seed, **how)
        total = total + drawn_h
        ranged.append(replace(block, finished_68_h=_ends(drawn_h)))
    return tuple(ranged), _ends(total)


def _ends(drawn):
    return tuple(np.percentile(drawn, [16.0, 84.0]).tolist())


def _finished(of):
    """Finished minutes in words, of a block or of the whole."""
    if of.finished_68_h is None:
        return f"about {60 * of.finished_h:.1f} min finished"
    low, high = (60 * end for end in of.finished_68_h)
    return f"{60 * of.finished_h:.1f} min ({low:.1f} to {high:.1f}) finished"


def _edge(times_utc, slot):
    minute = slot * SLOT_MIN
    if minute >= len(times_utc):
        return times_utc[-1] + np.timedelta64(30, "s")
    return times_utc[minute] - np.timedelta64(30, "s")


def _no_use(seen: Ribbon, least_min):
    """Why a target cannot have a stretch at all, or ""."""
    if not seen.in_view.any():
        return "it never stands in the mask's opening in the dark hours"
    if not seen.usable.any():
        keys, counts = np.unique(seen.lost[seen.in_view], return_counts=True)
        return f"whenever it is in view: {LOST[str(keys[counts.argmax()])]}"
    longest = _longest_run(seen.usable)
    if longest < least_min:
        return f"usable for {longest} min in a row, less than the {least_min:.0f} min asked of a stretch"
    if seen.finished_h <= 0.0:
        return "no sub of a second or longer stays within the tolerance"
    return ""


def _longest_run(usable):
    edges = np.flatnonzero(np.diff(np.r_[0, usable.astype(int), 0]))
    return int(np.max(edges[1::2] - edges[::2], initial=0))


def _outdone(at, names, worth, path, total, wasted, least, times_utc):
    """What it would cost to take a target that the best sequence leaves out."""
    forced, other = best_path(worth, wasted, least, forced=at)
    if not np.isfinite(forced):
        return "no room for it beside a change of target"
    stretch = np.flatnonzero(other == at)
    rivals = path[stretch]
    rivals = rivals[rivals >= 0]
    rival = names[int(np.bincount(rivals).argmax())] if rivals.size else "the change of target"
    cost_min = 60.0 * (total - forced)
    when = f"from {_clock(_edge(times_utc, int(stretch[0])))} UTC, its best time,"
    if cost_min < 0.05:
        return f"{when} it would give as much as {rival}: choose the one you like"
    return f"taking it {when} would cost {cost_min:.1f} of {60.0 * total:.1f} finished minutes: {rival} gives more then"


def _clock(moment):
    return str(moment)[11:16]
