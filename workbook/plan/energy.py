"""Energy until dawn from the passport: what each device takes, when each battery ends, and which lead to swap."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date as Date
from typing import NamedTuple

import numpy as np

from workbook import power
from workbook.checks import positive
from workbook.verdict import conditions
from workbook.verdict.evening import PACKS_V

PACK, CELLS = "pack", "mount's cells"
LATE = 0.97  # share of the charge that is gone when a pack is called almost empty
THIN_M, THIN_AWG = 5.0, 24  # an invented lead, to compare with one's own


class Ranged(NamedTuple):
    """A number with its 68 % range over the passport's spreads, in the unit of its field."""

    central: float
    low: float
    high: float


class DeviceNight(NamedTuple):
    """One device: power while on [W], share of the time, energy by dawn [Wh], share of what its battery gives."""

    name: str
    supply: str
    power_w: float
    duty: float
    energy_wh: Ranged
    share: Ranged


class BatteryNight(NamedTuple):
    """One battery: what it gives and what is asked by dawn [Wh], asked by given, hours from the start, chance."""

    name: str
    store_wh: Ranged
    drawn_wh: Ranged
    share: Ranged
    ends_h: Ranged
    chance: power.Chance  # of reaching dawn


@dataclass(frozen=True)
class EnergyNight:
    """The energy table of one night; `reason` says why there is none.

    Times in UTC; dawn_h, from the start of the set-up to the end of darkness [h]; draws behind the ranges; measured,
    the numbers of the table that are measured, the rest being assumed.
    """

    rig: str
    date: Date
    start_utc: np.datetime64 | None = None
    dawn_utc: np.datetime64 | None = None
    dawn_h: float = 0.0
    devices: tuple[DeviceNight, ...] = ()
    batteries: tuple[BatteryNight, ...] = ()
    draws: int = 0
    measured: tuple[str, ...] = ()
    reason: str = ""

    def as_text(self) -> str:
        """The table as lines of text, times in UTC."""
        title = f"Energy of {self.rig}, night of {self.date.isoformat()}"
        if self.reason:
            return f"{title}: nothing to show, {self.reason}."
        lines = [
            f"{title}: {self.dawn_h:.1f} h from {_clock(self.start_utc)} to dawn at {_clock(self.dawn_utc)} UTC",
            f"{'':13}{'W':>5} {'duty':>5}   {'Wh by dawn (68 %)':<22}share of the battery",
        ]
        for battery in self.batteries:
            mine = [device for device in self.devices if device.supply == battery.name]
            for row in mine:
                lines.append(
                    f"{row.name:<13}{row.power_w:>5.1f} {100 * row.duty:>3.0f} %   "
                    f"{_words(row.energy_wh, '.1f'):<22}{_words(row.share, '.0f', 100)} %"
                )
            lines.append(
                f"{battery.name}: gives {_words(battery.store_wh, '.1f')} Wh, asked for "
                f"{_words(battery.drawn_wh, '.1f')} Wh, {_words(battery.share, '.0f', 100)} % of it"
            )
            chance = Ranged(*battery.chance)
            nothing = not np.isfinite(battery.ends_h.central)
            end = "never empty" if nothing else f"empty after {_words(battery.ends_h, '.1f')} h"
            lines.append(f"  {end}; reaches dawn in {_words(chance, '.1f', 100)} of 100 drawn nights")
        known = ", ".join(self.measured) or "none"
        lines.append(
            f"Measured of these numbers: {known}; the rest is assumed. The range of a chance is 95 %."
        )
        return "\n".join(lines)


def energy_night(passport, *, date=None, guided=None, draws: int = 2000, seed: int = 1) -> EnergyNight:
    """What each device takes from the start of the set-up to dawn, and when each battery ends.

    Parameters
    ----------
    passport : Passport
        Loads, duties, batteries, site and habits.
    date, guided : optional
        As in `verdict.verdict`: a guide camera is a load only where guided.
    draws, seed : int
        Draws over the passport's spreads for the ranges and chances, one or more.

    Returns
    -------
    EnergyNight
        Devices of each battery, hungriest first, and the batteries, the one that is asked for most of its energy first.

    Raises
    ------
    ValueError
        If the date is out of range or draws is below 1.

    Notes
    -----
    Loads are means: power while on times duty, through the whole night. A battery then ends at the length of the
    night over its share. The mount's own cells are taken to suffer in use and cold as the pack does, without a
    converter, as in `verdict`.

    References
    ----------
    Derivation: energy balance, `power.load_table` and `power.supply_table`.
    """
    date = passport["plan.date"] if date is None else date
    guided = passport["plan.guided"] if guided is None else guided
    night = conditions(passport, target=passport["plan.target"], date=date)
    if night is None:
        why = "the Sun does not sink 18° below the horizon: no astronomical night"
        return EnergyNight(passport.name, date, reason=why)
    dawn_h = float(night.since_set_up_min[-1] + 0.5) / 60.0
    dawn_utc = night.times_utc[-1] + np.timedelta64(30, "s")
    many = {key: _column(value) for key, value in passport.draw(draws, seed).items()}
    rigs = passport.central(), many
    loads, drawn_loads = (_loads(rig, guided) for rig in rigs)
    (middle, spread) = (_supplies(rig, _loads(rig, guided), dawn_h) for rig in rigs)
    devices = []
    for row in power.load_table(loads=loads, times_h=[0.0, dawn_h]):
        load, drawn = (next(x for x in each if x.name == row.name) for each in (loads, drawn_loads))
        energy_wh = np.ravel(
            power.drawn_wh(load_w=drawn.power_w * drawn.duty, times_h=[0.0, dawn_h])[..., -1]
        )
        stores_wh = np.ravel(spread[row.supply].store_wh)
        devices.append(
            DeviceNight(
                row.name,
                row.supply,
                float(load.power_w),
                float(load.duty),
                _ranged(row.energy_wh, energy_wh),
                _ranged(row.energy_wh / middle[row.supply].store_wh, energy_wh / stores_wh),
            )
        )
    batteries = []
    for name, row in middle.items():
        drawn, ends_h = spread[name], _ends_h(dawn_h, spread[name].share)
        batteries.append(
            BatteryNight(
                name,
                *(
                    _ranged(getattr(row, key), getattr(drawn, key))
                    for key in ("store_wh", "drawn_wh", "share")
                ),
                _ranged(_ends_h(dawn_h, row.share), ends_h),
                power.dawn_chance(ends_h=ends_h, dawn_h=dawn_h),
            )
        )
    keys = [key for key in passport.uncertain_keys() if key in _keys(guided)]
    return EnergyNight(
        passport.name,
        date,
        dawn_utc - np.timedelta64(round(3.6e6 * dawn_h), "ms"),
        dawn_utc,
        dawn_h,
        tuple(devices),
        tuple(batteries),
        draws,
        tuple(key.removeprefix("power.") for key in keys if passport.is_measured(key)),
    )


class LeadNight(NamedTuple):
    """One lead: its length [m] and gauge [AWG], its row of `power.rank_leads`, volts that arrive, with range [V]."""

    cable_m: float
    gauge_awg: float
    row: power.LeadRow
    far_v: Ranged


@dataclass(frozen=True)
class OwnLeads:
    """Own lead and an invented thin one, the one to swap first in front; voltages [V], peak [W], copper [°C]."""

    leads: tuple[LeadNight, ...]
    battery_v: float
    peak_w: float
    lowest_v: float
    copper_degc: float

    def as_text(self) -> str:
        """Which lead to swap, as lines of text."""
        lines = [
            f"{self.peak_w:.3g} W at the far end, the pack almost empty at {self.battery_v:.1f} V, copper at "
            f"{self.copper_degc:.0f} °C, {self.lowest_v:.1f} V needed; (a to b): 68 %"
        ]
        for lead in self.leads:
            row, does = lead.row, "swap it" if lead.row.swap else "keep it"
            arrive = (
                "no such power passes" if np.isnan(row.far_v) else f"{_words(lead.far_v, '.1f')} V arrive"
            )
            would = (
                "no gauge on sale holds"
                if np.isnan(row.needed_awg)
                else f"{row.needed_awg:.0f} AWG would just do"
            )
            lines.append(
                f"{row.name}, {lead.cable_m:.3g} m of {lead.gauge_awg:.0f} AWG: {arrive}; {does}; {would}"
            )
        return "\n".join(lines)


def own_leads(passport, *, peak_w, lowest_v, draws: int = 2000, seed: int = 1) -> OwnLeads:
    """Whether the lead from the pack holds late in the night, beside an invented thin one.

    Parameters
    ----------
    passport : Passport
        Pack, lead, loads and the air at dawn.
    peak_w : float
        The most that is asked at the far end: measure it, or add what runs at once [W].
    lowest_v : float
        Lowest voltage at which the device there goes on [V].
    draws, seed : int
        Draws over the spreads of the pack's voltage and the lead's length.

    Returns
    -------
    OwnLeads
        Both leads in the order of `power.rank_leads`.

    Raises
    ------
    ValueError
        If a number is not positive.

    Notes
    -----
    The kind of the pack is told from its voltage; its cells are looked at with 97 % of the charge gone, good to
    0.1 V a pack, less in frost. Copper has the temperature of the air at dawn. Plugs and switches are not counted:
    leave some spare.

    References
    ----------
    Derivation: `power.load_voltage_v`; discharge curves as in `power.cell_voltage_v`.
    """
    peak_w, lowest_v = positive("peak_w", float(peak_w)), positive("lowest_v", float(lowest_v))
    rig, many = passport.central(), passport.draw(draws, seed)
    loads = [load for load in _loads(rig, passport["plan.guided"]) if load.supply == PACK]
    mean_w = sum(load.power_w * load.duty for load in loads) / rig["power.converter"]
    late = _late_share(rig["power.pack_v"])
    copper_degc = rig["night.air_end_degc"]
    wires = {
        "your lead": (rig["power.lead_m"], rig["power.lead_awg"], many["power.lead_m"]),
        "an invented thin one": (THIN_M, THIN_AWG, THIN_M),
    }
    asked = [
        power.Lead(name, late * rig["power.pack_v"], mean_w, peak_w, metres, gauge, lowest_v)
        for name, (metres, gauge, _) in wires.items()
    ]
    found = []
    for row in power.rank_leads(leads=asked, cable_temperature_degc=copper_degc):
        metres, gauge, drawn_m = wires[row.name]
        far_v = power.load_voltage_v(
            battery_v=late * many["power.pack_v"],
            load_w=peak_w,
            cable_m=drawn_m,
            gauge_awg=gauge,
            cable_temperature_degc=many["night.air_end_degc"],
        )
        far_v = np.nan_to_num(far_v)  # no such power passes: nothing arrives
        found.append(LeadNight(metres, gauge, row, _ranged(row.far_v, far_v)))
    return OwnLeads(tuple(found), late * rig["power.pack_v"], peak_w, lowest_v, copper_degc)


def _loads(rig, guided):
    """The devices with their batteries; numbers as the rig has them, floats or draws."""
    loads = [
        power.Load("computer", rig["power.computer_w"], 1.0, PACK),
        power.Load("camera", rig["power.camera_w"], 1.0, PACK),
        power.Load("heater", rig["power.heater_w"], rig["power.heater_duty"], PACK),
        power.Load("red light", rig["power.light_w"], 1.0, PACK),
        power.Load("mount", rig["power.mount_w"], rig["power.mount_duty"], CELLS),
    ]
    return [*loads, power.Load("guide camera", rig["power.guide_camera_w"], 1.0, PACK)] if guided else loads


def _supplies(rig, loads, dawn_h):
    """The row of each battery by its name."""
    shares = {"usable": np.ravel(rig["power.pack_usable"]), "cold": np.ravel(rig["power.pack_cold"])}
    cells_wh = power.cells_energy_wh(
        cells=rig["power.mount_cells"], cell_v=rig["power.cell_v"], cell_ah=rig["power.cell_ah"]
    )
    stores = {
        PACK: power.store_wh(
            energy_wh=np.ravel(rig["power.pack_wh"]), converter=np.ravel(rig["power.converter"]), **shares
        ),
        CELLS: power.store_wh(energy_wh=np.ravel(cells_wh), converter=1.0, **shares),
    }
    rows = power.supply_table(loads=loads, stores=stores, times_h=[0.0, dawn_h])
    return {row.name: row for row in rows}


def _keys(guided):
    """The passport's numbers behind the table."""
    names = [
        "mount_w",
        "mount_duty",
        "cell_v",
        "cell_ah",
        "computer_w",
        "camera_w",
        "heater_w",
        "heater_duty",
    ]
    names += ["light_w", "pack_wh", "pack_usable", "pack_cold", "converter"]
    return {f"power.{name}" for name in (*names, "guide_camera_w")[: None if guided else -1]}


def _late_share(pack_v):
    """Voltage of an almost empty pack over its printed one."""
    kind = min(PACKS_V, key=lambda name: abs(pack_v - PACKS_V[name] * max(1, round(pack_v / PACKS_V[name]))))
    late_v = power.cell_voltage_v(chemistry=kind, drawn=LATE)
    return float(late_v) / power.CHEMISTRIES[kind].nominal_v


def _column(value):
    return value[:, None] if isinstance(value, np.ndarray) else value


def _ends_h(dawn_h, share):
    """Steady loads: the end is the length of the night over the share; never where nothing is drawn."""
    share = np.asarray(share)
    return np.where(share > 0, dawn_h / np.where(share > 0, share, 1.0), np.inf)


def _ranged(central, draws):
    low, high = np.percentile(np.ravel(draws), [16.0, 84.0], method="nearest")
    return Ranged(float(np.ravel(central)[0]), float(low), float(high))


def _words(span, form, times=1.0):
    """`a (b to c)`."""
    central, low, high = (f"{times * value:{form}}" for value in span)
    return f"{central} ({low} to {high})"


def _clock(moment):
    return str(moment)[11:16]
