"""The learner's own horizon, drawn by clicks on a picture of the sky, typed as points or a list, or read from a file.

A click needs to tell the kernel where it fell, which no plain widget does; the small library ipyevents does
that for the panel's own picture. Everything can be done by keyboard as well: points, list and file.
"""

from __future__ import annotations

import csv
import threading

import ipywidgets as widgets
import numpy as np
from ipyevents import Event

from workbook import catalogue, horizon, pointing
from workbook.figures import horizon_mask as figure
from workbook.panels.controls import TEXT_SIZE, slider
from workbook.panels.panel import Panel
from workbook.panels.readout import Readout, alert_html
from workbook.passport import Entry, Passport, update

HOURS_DEG = np.arange(-180.0, 180.0, 0.25)  # a minute of time each
SIDEREAL_DAY_H = 23.9345  # mean sidereal day, IERS Conventions (2010), from 86164.0989 s
POINT_DEG = 1.0  # how well a point is drawn or estimated; clicks are rounded to it
NEAR_PX = 9.0  # a click this near to a point takes it away
LONG_H = 3.0
ARRIVE_S = 0.2  # from a press until it acts
AREA_DEG = np.arange(0.5, 360.0, 1.0)


def build_horizon_mask(passport) -> HorizonMask:
    """The horizon of this passport, to be drawn anew; `horizon` is the mask as it stands."""
    return HorizonMask(passport)


class HorizonMask(Panel):
    """A panel whose points are clicked or typed.

    `add`, `remove`, `clear`, `use_list` and `use_file` do what the buttons do, and raise a ValueError where a
    button shows a line.
    """

    def __init__(self, passport):
        self.passport, self.target = passport, passport["plan.target"]
        self._points, self._drawn = list(passport["site.horizon_deg"]), False
        self._path = pointing.altaz(
            hour_angle_deg=HOURS_DEG,
            dec_deg=float(catalogue.find(self.target).dec_deg),
            latitude_deg=float(passport["site.latitude_deg"]),
        )
        super().__init__(
            figure,
            self._view,
            {
                "ceiling_deg": slider(
                    "Ceiling, 90: none", float(passport["site.ceiling_deg"]), 1.0, 90.0, step=1.0
                )
            },
            _readout,
            title="Your horizon",
            height_px=350,
        )
        self._add_rows()

    # What a notebook calls

    @property
    def horizon(self) -> horizon.Mask:
        """The mask as it is drawn."""
        return self._mask(self._points)

    @property
    def points(self) -> tuple:
        """Its points, azimuth and altitude [°], as a passport holds them."""
        mask = self.horizon
        return tuple(zip(mask.azimuth_deg.tolist(), mask.altitude_deg.tolist(), strict=True))

    def add(self, azimuth_deg, altitude_deg) -> None:
        """One more point; two at the same azimuth are the ends of a vertical edge."""
        self._use([*self._points, (float(azimuth_deg), float(altitude_deg))], drawn=self._drawn)

    def remove(self, azimuth_deg, altitude_deg) -> None:
        """Take away the point nearest to a place."""
        if not self._points:
            raise ValueError("there is no point to remove: the horizon is flat")
        away = np.abs(np.array(self._points) - (azimuth_deg, altitude_deg))
        away[:, 0] = np.minimum(away[:, 0] % 360.0, -away[:, 0] % 360.0)
        nearest = int(np.argmin(np.hypot(*away.T)))
        self._use([*self._points[:nearest], *self._points[nearest + 1 :]], drawn=self._drawn)

    def clear(self) -> None:
        """Begin with a flat horizon; points of the passport come back with `reset`."""
        self._use([], drawn=True)

    def use_list(self, text: str) -> None:
        """The points of a typed list: azimuth and altitude with a space between, points with commas."""
        self._use(_pairs(horizon.from_text(text)) if text.strip() else [], drawn=False)

    def use_file(self, path) -> None:
        """The points of a file of two columns, azimuth and altitude, with a comma between."""
        name = str(path).strip()
        if not name:
            raise ValueError("no file named: write its path, for example horizon.csv")
        try:
            mask = horizon.read_csv(name)
        except FileNotFoundError as error:
            raise ValueError(
                f"there is no file {name!r}: write its path as seen from this notebook, for example horizon.csv"
            ) from error
        except OSError as error:
            raise ValueError(
                f"{name!r} cannot be read: {(error.strerror or 'unknown reason').lower()}"
            ) from error
        except (UnicodeDecodeError, csv.Error) as error:
            raise ValueError(f"{name!r} is no plain text: save the table as CSV, in UTF-8") from error
        self._use(_pairs(mask), drawn=False)

    def reset(self) -> None:
        """Back to the horizon of the passport."""
        self._points, self._drawn = list(self.passport["site.horizon_deg"]), False
        super().reset()
        self._after()

    def measurements(self) -> dict:
        """What `passport.update` and `replace` take: the points and the ceiling."""
        return {
            "site.horizon_deg": Entry(self.points),
            "site.ceiling_deg": Entry(self.values["ceiling_deg"]),
        }

    def keep(self, passport: Passport) -> str:
        """Write the horizon into a passport's own file, where it differs; says what was done."""
        if passport.path is None:
            return "Nothing written: this is a demo rig. Make your own passport on the page start-here first."
        changes = self.measurements()
        if all(entry.value == passport[key] for key, entry in changes.items()):
            return "Nothing written: the passport holds this horizon already."
        update(passport, changes)
        return f"Written into {passport.path.name}: {len(self.points)} points and the ceiling. Run the lesson again."

    # What stands behind it

    def _mask(self, points, ceiling_deg=None):
        ceiling_deg = self.values["ceiling_deg"] if ceiling_deg is None else ceiling_deg
        if self._drawn and points:
            return horizon.from_clicks(points, ceiling_deg)
        return horizon.mask(sorted(points, key=lambda point: point[0]), ceiling_deg)

    def _view(self, ceiling_deg) -> figure.HorizonView:
        mask = self._mask(self._points, ceiling_deg)
        up = self._path.altitude_deg > 0.0
        hours = [
            SIDEREAL_DAY_H * float(np.mean(up & _open(mask, self._path, shift)))
            for shift in (0.0, POINT_DEG, -POINT_DEG)
        ]
        floor = np.clip(mask.floor_deg(AREA_DEG), 0.0, ceiling_deg)
        height = np.sin(np.radians(ceiling_deg)) - np.sin(np.radians(floor))
        return figure.HorizonView(
            target=self.target,
            mask=mask,
            path_deg=np.stack([self._path.azimuth_deg[up], self._path.altitude_deg[up]]),
            seen=_open(mask, self._path, 0.0)[up],
            open_share=float(height.mean()),
            hours_h=hours[0],
            low_h=hours[1],
            high_h=hours[2],
        )

    def _use(self, points, *, drawn):
        """Take other points where they make a mask; else leave all as it was."""
        with self._lock:
            before = self._points, self._drawn
            self._points, self._drawn = points, drawn
            try:
                self._mask(points)
            except ValueError:
                self._points, self._drawn = before
                raise
            self.refresh()
            self._after()

    def _after(self):
        self._fault.value = ""
        self._list.value = ", ".join(f"{azimuth:g} {altitude:g}" for azimuth, altitude in self.points)

    def _clicked(self, event):
        """Where a click fell on the picture becomes a point, or takes away the point that stands there."""
        along = event["relativeX"] / max(event["boundingRectWidth"], 1)
        down = event["relativeY"] / max(event["boundingRectHeight"], 1)
        ax = self.canvas.figure.axes[0]
        width, height = self.canvas.canvas.get_width_height()
        spot = np.array([along * width, (1.0 - down) * height])
        azimuth, altitude = ax.transData.inverted().transform(spot)
        if not (0.0 <= azimuth <= 360.0 and 0.0 <= altitude <= 90.0):
            return  # beside the axes
        points = ax.transData.transform(np.reshape(self.points, (-1, 2)))
        if len(self._points) and np.hypot(*(points - spot).T).min() <= NEAR_PX:
            self._tried(self.remove, azimuth, altitude)
            return
        azimuth, altitude = (float(POINT_DEG * np.round(angle / POINT_DEG)) for angle in (azimuth, altitude))
        self._azimuth.value, self._altitude.value = azimuth, altitude
        self._tried(self.add, azimuth, altitude)

    def _press(self, action, *boxes):
        """Act a moment later: a press and the value of a box come by different threads, and the press may be first."""
        self._pressed = threading.Timer(ARRIVE_S, lambda: self._tried(action, *(box.value for box in boxes)))
        self._pressed.daemon = True
        self._pressed.start()

    def _tried(self, action, *values):
        """A fault of the learner's own input is a line, and the mask stays as it was."""
        try:
            action(*values)
        except ValueError as error:
            self._fault.value = alert_html(" ".join(str(error).split()))

    def _add_rows(self):
        self._azimuth, self._altitude = (
            _box(widgets.BoundedFloatText, words, "205px", value=value, min=0.0, max=high, step=1.0)
            for words, value, high in (("Azimuth [°]", 180.0, 360.0), ("Altitude [°]", 20.0, 90.0))
        )
        self._list = _box(widgets.Text, "List", "min(620px, 100%)", placeholder="95 20, 150 12, 215 20")
        self._path_field = _box(widgets.Text, "CSV file", "min(620px, 100%)", placeholder="horizon.csv")
        self._fault = widgets.HTML(layout=widgets.Layout(width="100%"))
        place = self._azimuth, self._altitude
        rows = (
            (
                *place,
                _button("Add the point", lambda: self._press(self.add, *place)),
                _button("Remove the nearest", lambda: self._press(self.remove, *place)),
                _button("Clear all", lambda: self._press(self.clear)),
            ),
            (self._list, _button("Use the list", lambda: self._press(self.use_list, self._list))),
            (
                self._path_field,
                _button("Read the file", lambda: self._press(self.use_file, self._path_field)),
            ),
        )
        wrapped = widgets.Layout(width="100%", flex_flow="row wrap")
        self._clicks = Event(source=self._image, watched_events=["click"])
        self._clicks.on_dom_event(self._clicked)
        self._after()
        parts = list(self.box.children)
        at = parts.index(self._image) + 1
        self.box.children = (
            *parts[:at],
            *(widgets.HBox(row, layout=wrapped) for row in rows),
            self._fault,
            *parts[at:],
        )


def _open(mask, path, shift_deg):
    """Whether the mask shows each place of the way, its edges moved into the open sky by some degrees."""
    beside = path.azimuth_deg + shift_deg * np.array([[-1.0], [0.0], [1.0]])
    floor = (np.max if shift_deg > 0 else np.min)(mask.floor_deg(beside), axis=0) + shift_deg
    ceiling = mask.ceiling_deg - shift_deg if mask.ceiling_deg < 90.0 else 90.0
    return (path.altitude_deg >= floor) & (path.altitude_deg <= ceiling)


def _pairs(mask):
    return list(zip(mask.azimuth_deg.tolist(), mask.altitude_deg.tolist(), strict=True))


def _readout(result):
    """How long the target of the plan is in view, and what that means."""
    if not result.path_deg.size:
        verdict = f"{result.target} never rises at this latitude: choose another target in your passport."
    elif result.hours_h == 0.0:
        verdict = f"This horizon hides {result.target} all day: choose another target, or another place."
    elif result.hours_h < LONG_H:
        verdict = "That is short. Ask whether a step to the side opens more than a better mount would."
    else:
        verdict = "Long enough for a night's work, if it falls into the dark hours."
    return Readout(
        f"{result.target} in view, a day",
        result.hours_h,
        "h",
        "assumed: every point good to 1°",
        f"{100 * result.open_share:.0f} % of the sky is open. {verdict}",
        low=result.low_h,
        high=result.high_h,
        share="1°",
    )


def _box(kind, words, width, **how):
    field = kind(description=f'<span style="font-size:{TEXT_SIZE}">{words}</span>', **how)
    field.description_allow_html, field.layout = True, widgets.Layout(width=width)
    field.style.description_width = "100px"
    field.style.font_size = TEXT_SIZE
    return field


def _button(words, handler):
    button = widgets.Button(description=words, tooltip=words, layout=widgets.Layout(width="auto"))
    button.style.font_size = TEXT_SIZE
    button.on_click(lambda _: handler())
    return button
