"""The learner's own horizon: clicks, boxes, list and file give one mask, and the passport gets it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from ipywidgets import Button

from workbook import horizon, passport
from workbook.figures import horizon_mask as figure
from workbook.figures import look
from workbook.panels import build_horizon_mask, sweep

BALCONY = passport.scenario("balcony")
ROOFS = [(0, 12), (60, 25), (95, 40), (95, 10), (200, 8), (215, 30), (300, 18)]
M33_DEC_DEG = 30.66  # catalogue, J2000


@pytest.fixture
def widget():
    return build_horizon_mask(BALCONY)


def click(widget, azimuth_deg, altitude_deg, *, shrunk=1.0):
    """What the page sends for a click: pixels from the upper left corner of the picture as it is shown.

    Derivation, by the frame alone: the axes run from 0 to 360° and from 0 to 90° between the edges of their box.
    """
    width, height = 900.0 * shrunk, 350.0 * shrunk
    box = widget.canvas.figure.axes[0].get_position()
    x = (box.x0 + box.width * azimuth_deg / 360.0) * width
    y = (1.0 - box.y0 - box.height * altitude_deg / 90.0) * height
    size = {"boundingRectWidth": width, "boundingRectHeight": height}
    widget._clicks._dom_handlers({"type": "click", "relativeX": x, "relativeY": y} | size)


def press(widget, words):
    """Press a button, and wait until it has acted."""
    held = [part for row in widget.box.children for part in getattr(row, "children", ())]
    (button,) = (part for part in held if isinstance(part, Button) and part.description == words)
    button.click()
    if words != "Reset":
        widget._pressed.join(5.0)


# Points


@pytest.mark.parametrize("shrunk", [1.0, 0.6])
def test_clicks_draw_the_mask_that_from_clicks_makes_of_the_same_points(widget, shrunk):
    """Derivation: `click`; half a picture's pixel is 0.2° of azimuth, and clicks are rounded to 1°."""
    widget.clear()
    for place in ROOFS:
        click(widget, *place, shrunk=shrunk)
    expected = horizon.from_clicks(ROOFS, 68)
    azimuth = np.arange(0, 360, 0.5)
    np.testing.assert_allclose(widget.horizon.floor_deg(azimuth), expected.floor_deg(azimuth))
    assert widget.points == tuple((float(a), float(h)) for a, h in ROOFS)
    assert widget._list.value == "0 12, 60 25, 95 40, 95 10, 200 8, 215 30, 300 18"
    assert (widget._azimuth.value, widget._altitude.value) == (300.0, 18.0)


def test_the_picture_shows_the_points_and_what_lies_between(widget):
    """Derivation: straight lines: halfway between 12° at 0° and 25° at 60° stands 18.5°."""
    widget.clear()
    before = widget.picture
    for place in ROOFS:
        click(widget, *place)
    assert widget.picture != before
    line = np.array(widget._artists.edge.get_data()).T
    assert line[1:-1].tolist() == [list(place) for place in ROOFS]
    assert np.interp(30.0, *line[:3].T) == widget.horizon.floor_deg(30.0) == pytest.approx(18.5)
    assert line[0][1] == line[-1][1] == pytest.approx(12.0)


def test_a_click_on_a_point_takes_it_away_and_one_beside_the_axes_does_nothing(widget):
    widget.clear()
    for place in ROOFS:
        click(widget, *place)
    click(widget, 61, 25.5)
    assert (60.0, 25.0) not in widget.points
    assert len(widget.points) == len(ROOFS) - 1
    for place in ((180, -8), (-5, 40), (180, 95)):
        click(widget, *place)
    assert len(widget.points) == len(ROOFS) - 1


def test_a_click_into_the_horizon_of_the_passport_is_one_more_point(widget):
    """The balcony opens from 95 to 215° above 20°: a tree of 45° in the middle of the view."""
    click(widget, 150, 45)
    assert widget.horizon.floor_deg([94, 150, 214]).tolist() == pytest.approx([90, 45, 20.4], abs=0.1)
    assert len(widget.points) == 7


def test_boxes_and_buttons_do_by_keyboard_what_a_click_does(widget):
    press(widget, "Clear all")
    assert widget.horizon.floor_deg([0, 123]).tolist() == [0.0, 0.0]
    for azimuth, altitude in ROOFS:
        widget._azimuth.value, widget._altitude.value = azimuth, altitude
        press(widget, "Add the point")
    assert widget.points == tuple((float(a), float(h)) for a, h in ROOFS)
    widget._azimuth.value, widget._altitude.value = 359, 10  # nearest across north
    press(widget, "Remove the nearest")
    assert widget.points[0] == (60.0, 25.0)
    widget._list.value = "90 10, 180 30"
    press(widget, "Use the list")
    assert widget.horizon.floor_deg(135) == pytest.approx(20.0)
    press(widget, "Reset")
    assert widget.points == BALCONY["site.horizon_deg"]


def test_a_file_is_read_and_its_fine_points_are_kept(widget, tmp_path):
    """360 points, half of them nearer than the 1° that makes two clicks an edge."""
    azimuth = np.concatenate([np.arange(0, 90, 0.5), np.arange(90, 360, 1.5)])
    path = tmp_path / "roofs.csv"
    path.write_text("azimuth,altitude\n" + "".join(f"{a:g},{10 + a / 36:g}\n" for a in azimuth))
    widget._path_field.value = str(path)
    press(widget, "Read the file")
    assert widget._fault.value == ""
    assert len(widget.points) == 360
    widget.add(45.25, 60)
    assert len(widget.points) == 361
    assert widget.horizon.floor_deg([45.25, 45.5]).tolist() == pytest.approx([60.0, 10 + 45.5 / 36], abs=1e-3)


@pytest.mark.parametrize(
    ("action", "values", "words"),
    [
        ("use_file", ("nowhere.csv",), "there is no file 'nowhere.csv'"),
        ("use_file", ("",), "no file named"),
        ("use_file", (".",), "cannot be read"),
        ("use_list", ("95 20, 150",), "point 2 of the horizon must be azimuth and altitude"),
        ("use_list", ("95 200",), "altitude must be −90 to 90°"),
        ("use_list", ("95 20, 80 10",), "azimuths must rise"),
        ("add", (95, 40), "three times"),
    ],
)
def test_a_fault_is_one_line_and_leaves_the_mask_as_it_was(widget, action, values, words):
    before, picture = widget.points, widget.picture
    with pytest.raises(ValueError, match=words):
        getattr(widget, action)(*values)
    widget._tried(getattr(widget, action), *values)
    assert 'role="alert"' in widget._fault.value
    assert "Traceback" not in widget._fault.value
    assert (widget.points, widget.picture) == (before, picture)
    widget.add(150, 30)
    assert widget._fault.value == ""


def test_a_faulty_file_names_its_line(widget, tmp_path):
    (tmp_path / "a.csv").write_text("95,20\n150;30\n")
    with pytest.raises(ValueError, match=r"a.csv, line 2: needs two numbers"):
        widget.use_file(tmp_path / "a.csv")
    (tmp_path / "b.csv").write_bytes(b"\xff\xfe\x00\x01\x80")
    with pytest.raises(ValueError, match="is no plain text"):
        widget.use_file(tmp_path / "b.csv")
    widget.clear()
    with pytest.raises(ValueError, match="no point to remove"):
        widget.remove(100, 20)


# Numbers


@pytest.mark.parametrize("floor_deg", [0, 20, 40])
def test_hours_in_view_over_a_level_floor(widget, floor_deg):
    """Source: the hour angle of an altitude, J. Meeus, Astronomical Algorithms, 1998, eq. 15.1; steps of a minute."""
    widget.set(ceiling_deg=90.0)
    widget.use_list(f"0 {floor_deg}")
    phi, dec, low = (math.radians(angle) for angle in (52.4, M33_DEC_DEG, floor_deg))
    half = math.degrees(
        math.acos((math.sin(low) - math.sin(phi) * math.sin(dec)) / (math.cos(phi) * math.cos(dec)))
    )
    assert widget.result.hours_h == pytest.approx(2.0 * half / 15.041067, abs=2 / 60)
    assert widget.result.low_h < widget.result.hours_h <= widget.result.high_h
    assert "M 33 in view, a day" in str(widget)


def test_how_much_of_the_sky_is_open(widget):
    """Derivation: Archimedes: a zone of a sphere is as large as its height: 120/360 (sin 68° − sin 20°), and half."""
    assert widget.result.open_share == pytest.approx((0.92718 - 0.34202) / 3.0, abs=1e-4)
    widget.use_list("0 30")
    widget.set(ceiling_deg=90.0)
    assert widget.result.open_share == pytest.approx(0.5, abs=1e-9)


def test_the_range_is_that_of_edges_a_degree_off(widget):
    """Derivation: a level floor of 20° with points 1° off is one of 19 or 21°."""
    widget.set(ceiling_deg=90.0)
    seen = []
    for floor_deg in (21, 20, 19):
        widget.use_list(f"0 {floor_deg}")
        seen.append(widget.result)
    assert (seen[1].low_h, seen[1].high_h) == pytest.approx((seen[0].hours_h, seen[2].hours_h))


@pytest.mark.parametrize(
    ("latitude_deg", "text", "words"),
    [
        (-70.0, "0 0", "never rises"),
        (52.4, "0 80", "hides M 33 all day"),
        (52.4, "0 65", "That is short"),
        (52.4, "0 10", "Long enough"),
    ],
)
def test_the_verdict(latitude_deg, text, words):
    widget = build_horizon_mask(
        BALCONY.replace({"site.latitude_deg": latitude_deg, "site.ceiling_deg": 90.0})
    )
    widget.use_list(text)
    assert words in str(widget)


# The panel, and the passport


@pytest.mark.parametrize("name", passport.SCENARIOS)
def test_it_opens_for_every_demo_rig(name):
    widget = build_horizon_mask(passport.scenario(name))
    assert sweep(widget) >= 5
    assert widget.points == passport.scenario(name)["site.horizon_deg"]


def test_both_looks_draw(widget):
    light = widget.picture
    widget.wear(look.RED)
    try:
        pixels = np.asarray(widget.canvas.image())
        assert pixels[..., 1:3].max() == 0
        assert widget.picture != light
        click(widget, 150, 45)
        assert (150.0, 45.0) in widget.points
    finally:
        widget.wear(look.LIGHT)


def test_the_table_holds_every_point(widget):
    widget.use_list("0 -2, 180 10")
    rows = figure.table(widget.result)
    assert rows[1:3] == [("1", "0°", "−2°"), ("2", "180°", "10°")]
    assert "A floor of 2 points from −2° to 10° of altitude, a ceiling at 68°" in widget.alt


def test_the_mask_goes_into_the_learner_s_passport(widget, tmp_path):
    """The file keeps its comments, the former one stays beside it, and nothing is written twice."""
    assert widget.keep(BALCONY).startswith("Nothing written: this is a demo rig")
    path = tmp_path / "passport.toml"
    path.write_text(BALCONY.text, encoding="utf-8")
    own = passport.load(path)
    assert widget.keep(own) == "Nothing written: the passport holds this horizon already."
    assert not list(tmp_path.glob("*.before"))
    widget.use_list("90 10, 180 30")
    widget.set(ceiling_deg=75.0)
    assert widget.keep(own).startswith("Written into passport.toml: 2 points and the ceiling")
    now = passport.load(path)
    assert now["site.horizon_deg"] == ((90.0, 10.0), (180.0, 30.0))
    assert now["site.ceiling_deg"] == 75.0
    assert "# north is positive" in path.read_text(encoding="utf-8")
    assert (tmp_path / "passport.toml.before").read_text(encoding="utf-8") == BALCONY.text
    assert BALCONY.replace(widget.measurements())["site.horizon_deg"] == now["site.horizon_deg"]
