"""The panel without a notebook: what it shows, what it refuses, what it does when something breaks."""

from __future__ import annotations

import base64
import io
import re
import threading
import time
import types

import demo_figure
import ipywidgets
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from PIL import Image

from workbook.figures import look as looks
from workbook.panels import panel, sweep
from workbook.panels.canvas import KeptCanvas


@pytest.fixture(autouse=True)
def _light_again():
    """A look worn in one test must not reach the next."""
    yield
    panel._worn["look"] = looks.LIGHT
    panel._shown.clear()


@pytest.fixture
def demo():
    return demo_figure.build()


def from_page(shown, name, value):
    """Move a slider as the page does: the state arrives as a message."""
    shown.controls[name].widget.set_state({"value": value})


def settled(shown, seconds=5.0):
    """Wait until the words no longer promise a range."""
    end = time.monotonic() + seconds
    while "range follows" in str(shown) or shown._timer.is_alive():
        assert time.monotonic() < end, "the range never came"
        time.sleep(0.01)


def pixels(png):
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGB")).astype(int)


# The picture


@pytest.mark.parametrize("look", looks.LOOKS.values(), ids=lambda look: look.name)
def test_the_kept_frame_gives_the_same_pixels_as_a_full_draw(look):
    shown = demo_figure.build(look=look)
    shown.ghost = 0.5
    for value in (7, 290, 150):
        shown.set(sub_s=value)
    assert shown.canvas.full_draws < 4
    kept = np.asarray(shown.canvas.image())
    for artist in shown.canvas.figure.findobj():
        artist.set_animated(False)
    full = FigureCanvasAgg(shown.canvas.figure)
    full.draw()
    np.testing.assert_array_equal(kept, np.asarray(full.buffer_rgba())[..., :3])


def test_a_polar_axis_with_a_grid_above_its_colours_is_the_same_too():
    figure = looks.new_figure()
    ax = figure.add_subplot(projection="polar")
    ax.grid(False)
    mesh = ax.pcolormesh(np.linspace(0, 6.28, 30), np.linspace(0, 1, 9), np.arange(232).reshape(8, 29) / 232)
    ax.grid(True)
    figure.add_axes([0.02, 0.02, 0.2, 0.2]).set_axis_off()
    canvas = KeptCanvas(figure)
    canvas.image()
    mesh.set_array(mesh.get_array()[::-1])
    kept = np.asarray(canvas.image())
    assert canvas.full_draws == 1
    for artist in figure.findobj():
        artist.set_animated(False)
    full = FigureCanvasAgg(figure)
    full.draw()
    np.testing.assert_array_equal(kept, np.asarray(full.buffer_rgba())[..., :3])


@pytest.mark.parametrize("change", [{"xlim": (0, 3)}, {"ylabel": "new"}, {"title": "new"}], ids=str)
def test_new_limits_labels_and_titles_are_seen_and_the_frame_drawn_anew(change):
    figure = looks.new_figure()
    ax = figure.subplots()
    canvas = KeptCanvas(figure)
    before = np.asarray(canvas.image())
    assert canvas.full_draws == 1
    ax.set(**change)
    after = np.asarray(canvas.image())
    assert canvas.full_draws == 2
    assert (before != after).any()


def test_a_figure_may_ask_for_a_full_draw():
    def update(artists, result, ghost):
        demo_figure.update(artists, result, ghost)
        return result.peak > 0.9

    shown = demo_figure.build(
        figure=types.SimpleNamespace(**(vars(demo_figure) | {"update": update})), slow=None
    )
    before = shown.canvas.full_draws
    shown.set(sub_s=200)
    assert shown.canvas.full_draws == before
    shown.set(sub_s=290)
    assert shown.canvas.full_draws == before + 1


def test_the_picture_has_the_size_that_was_asked_for(demo):
    assert pixels(demo.picture).shape == (450, 900, 3)
    assert pixels(demo_figure.build(width_px=600, height_px=300).picture).shape == (300, 600, 3)


# Moves


def test_a_move_by_code_shows_words_range_description_and_table_at_once(demo):
    demo.controls["sub_s"].widget.value = 240
    # 240/300 by hand, and the demonstration's spread of 0.05
    assert (
        str(demo).splitlines()[0]
        == "Peak: 0.80 h (68 % range 0.75 to 0.85 h, assumed). A long sub pays here."
    )
    assert demo.alt == "Three curves over the hour angle; the first peaks at 0.80 on the meridian."
    assert "0 h | 0.80 | 0.66" in str(demo)
    assert demo._table.value.count("<tr>") == 6
    assert demo._image.tooltip == demo.alt


def test_a_drag_shows_the_central_curve_and_the_range_comes_after_it(demo):
    calls = []
    demo.slow = lambda result, **values: (
        calls.append(values["sub_s"]) or demo_figure.with_range(result, **values)
    )
    old_table = demo._table.value
    for value in (150, 180, 210):
        from_page(demo, "sub_s", value)
        assert "range follows" in demo._status.value
    assert calls == []
    assert "0.70 h" in demo._status.value
    assert demo._table.value == old_table
    settled(demo)
    assert calls == [210]
    assert "range 0.65 to 0.75 h" in demo._status.value
    assert "0.70" in demo._table.value
    assert demo.alt.endswith("0.70 on the meridian.")


def test_a_range_that_is_overtaken_by_a_new_drag_is_thrown_away(demo):
    begun, go_on = threading.Event(), threading.Event()

    def slow(result, **values):
        if values["sub_s"] == 150:
            begun.set()
            go_on.wait(5)
        return demo_figure.with_range(result, **values)

    demo.slow = slow
    from_page(demo, "sub_s", 150)
    assert begun.wait(5)
    first = demo._timer
    from_page(demo, "sub_s", 270)  # would wait here if the range were worked out under the lock
    go_on.set()
    first.join(5)
    assert "0.90 h" in demo._status.value
    settled(demo)
    assert "range 0.85 to 0.95 h" in demo._status.value


def test_many_threads_leave_picture_and_words_of_one_state(demo):
    demo.slow = None
    threads = [threading.Thread(target=demo.set, kwargs={"sub_s": 20 * k}) for k in range(1, 9)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    picture = demo.picture
    demo.refresh()
    assert demo.picture == picture
    assert f"{demo.values['sub_s'] / 300:.2f} h" in demo._status.value


def test_set_moves_several_controls_in_one_move(demo):
    before = demo.moves
    demo.set(sub_s=30, height_deg=10.5, mode="tilted", wide=True)
    assert demo.moves == before + 1
    assert demo.values == {"sub_s": 30, "height_deg": 10.5, "mode": "tilted", "wide": True}


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"sub_s": 301}, "sub_s must be 1 to 300 s, received 301 s"),
        ({"mode": "upside down"}, "mode must be one of 'alt-az', 'tilted', received 'upside down'"),
        ({"length": 1}, "no control named 'length'; there are sub_s, height_deg, mode, wide"),
    ],
    ids=str,
)
def test_a_value_that_a_control_cannot_take_is_refused_not_bent(demo, values, words):
    before = demo.values
    with pytest.raises(ValueError, match=re.escape(words)):
        demo.set(**values)
    assert demo.values == before


def test_a_preset_outside_the_range_is_refused_when_the_panel_is_built():
    with pytest.raises(ValueError, match="preset 'Far': sub_s must be 1 to 300 s, received 900 s"):
        demo_figure.build(presets={"Far": {"sub_s": 900}})


def test_presets_and_reset_are_buttons(demo):
    buttons = {b.description: b for b in demo.box.children[1].children if isinstance(b, ipywidgets.Button)}
    assert list(buttons) == ["Balcony", "Island", "Reset", "Dim red look"]
    buttons["Island"].click()
    assert demo.values["sub_s"] == 200
    assert demo.values["height_deg"] == 30.0
    buttons["Reset"].click()
    assert demo.values == {"sub_s": 120, "height_deg": 52.4, "mode": "alt-az", "wide": False}


def test_the_ghost_of_a_prediction_is_drawn_and_can_be_taken_away(demo):
    before = demo.picture
    demo.ghost = 0.9
    assert demo.ghost == 0.9
    assert demo.picture != before
    demo.ghost = None
    assert demo.picture == before


# Faults


def broken(error):
    def compute(*, sub_s, **rest):
        if sub_s > 200:
            raise error
        return demo_figure.compute(sub_s=sub_s, **rest)

    return compute


@pytest.mark.parametrize(
    ("error", "shown"),
    [
        (ValueError("sub_s must be below 200 s: <shorter>"), "sub_s must be below 200 s: &lt;shorter&gt;"),
        (RuntimeError("first\nsecond"), "RuntimeError: first second"),
        (ZeroDivisionError(), "ZeroDivisionError"),
    ],
    ids=["guard", "other", "wordless"],
)
def test_an_error_is_shown_in_one_line_and_raised_again(error, shown):
    demo = demo_figure.build(compute=broken(error))
    with pytest.raises(type(error)):
        demo.controls["sub_s"].widget.value = 250
    assert 'role="alert"' in demo._alert.value
    assert f">{shown}<" in demo._alert.value
    assert "No answer for these values" in demo._status.value
    assert str(demo).startswith("No answer for these values.")
    demo.set(sub_s=100)
    assert demo._alert.value == demo.problem == ""
    assert "0.33 h" in demo._status.value


def test_an_error_in_a_drag_is_raised_too():
    demo = demo_figure.build(compute=broken(RuntimeError("planted")))
    with pytest.raises(RuntimeError, match="planted"):
        from_page(demo, "sub_s", 250)
    assert demo.problem == "RuntimeError: planted"


def test_an_error_of_the_slow_part_after_a_drag_is_shown_and_raised(monkeypatch):
    raised = []
    monkeypatch.setattr(threading, "excepthook", lambda args: raised.append(args.exc_value))

    def slow(result, *, sub_s, **rest):
        if sub_s > 200:
            raise RuntimeError("planted")
        return demo_figure.with_range(result, sub_s=sub_s)

    demo = demo_figure.build(slow=slow)
    from_page(demo, "sub_s", 250)
    demo._timer.join(5)
    assert [str(error) for error in raised] == ["planted"]
    assert demo.problem == "RuntimeError: planted"


# Words


def test_the_table_names_its_columns(demo):
    assert demo._table.value.count('scope="col"') == 3
    assert "<caption" in demo._table.value
    assert demo._table.layout.display == "none"
    demo._table_button.click()
    assert demo._table.layout.display is None
    assert demo._table_button.description == "Hide the table"


# Looks


def test_the_look_button_dresses_picture_and_page_and_every_other_panel(demo):
    other = demo_figure.build(title="Another")
    demo._look_button.click()
    for shown in (demo, other):
        assert pixels(shown.picture)[..., 1:].max() == 0
        assert "multiply" in shown._page.value
        assert shown._look_button.description == "Light look"
    assert demo_figure.build(title="A third").look is looks.RED
    demo._look_button.click()
    assert pixels(other.picture)[0, 0].tolist() == [255, 255, 255]
    assert demo._page.value == ""


# Without a kernel, and the sweep


def test_without_a_kernel_there_is_a_small_picture_its_alt_text_and_the_words(demo):
    data, metadata = demo._repr_mimebundle_()
    assert set(data) == {"text/plain", "image/png"}
    assert metadata == {"image/png": {"alt": demo.alt}}
    png = base64.b64decode(data["image/png"])
    assert Image.open(io.BytesIO(png)).mode == "P"
    assert len(png) < 60_000
    # a palette of 128: no channel is off by more than a few steps on average
    assert np.abs(pixels(png) - pixels(demo.picture)).mean() < 3
    assert data["text/plain"] == str(demo)


def test_the_sweep_counts_its_moves_and_leaves_the_panel_as_it_was(demo):
    before = demo.values
    # 3 + 3 values of the sliders, 2 + 2 options, 4 ways back, all low, all high, back
    assert sweep(demo) == 3 + 3 + 2 + 2 + 4 + 3
    assert demo.values == before


def test_the_sweep_finds_an_error_at_one_end():
    with pytest.raises(RuntimeError, match="planted"):
        sweep(demo_figure.build(compute=broken(RuntimeError("planted"))))


def test_the_sweep_finds_a_control_that_nothing_follows():
    def deaf(*, wide, **rest):
        return demo_figure.compute(wide=False, **rest)

    with pytest.raises(AssertionError, match="the picture does not follow wide"):
        sweep(demo_figure.build(compute=deaf))


def test_the_sweep_finds_a_number_that_is_none():
    def compute(**values):
        result = demo_figure.compute(**values)
        return result._replace(peak=float("nan")) if values["sub_s"] == 300 else result

    with pytest.raises(AssertionError, match="nan"):
        sweep(demo_figure.build(compute=compute))
