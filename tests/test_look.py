"""The two looks: contrast, colours for the colour-blind, red and nothing else, text size, no global change.

Outside sources: contrast ratio and its limits 3:1 (graphics) and 4.5:1 (text) from W3C, Web Content
Accessibility Guidelines 2.2, success criteria 1.4.11 and 1.4.3; the colours from Okabe & Ito 2008, "Color
Universal Design: How to make figures and presentations that are friendly to colorblind people".
"""

from __future__ import annotations

import subprocess
import sys

import demo_figure
import matplotlib
import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.text import Text

from workbook.figures import look as looks

BOTH = pytest.mark.parametrize("look", looks.LOOKS.values(), ids=lambda look: look.name)
OKABE_ITO = {"blue": "#0072B2", "vermilion": "#D55E00", "bluish green": "#009E73", "black": "#000000"}


def luminance(colour):
    """Relative luminance of WCAG 2.2 (definition in its glossary)."""
    channels = np.array(to_rgb(colour))
    linear = np.where(channels <= 0.04045, channels / 12.92, ((channels + 0.055) / 1.055) ** 2.4)
    return linear @ [0.2126, 0.7152, 0.0722]


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def drawn(look):
    figure = looks.new_figure()
    artists = demo_figure.create(figure, look)
    result = demo_figure.compute(sub_s=120, height_deg=40.0, mode="tilted", wide=False)
    demo_figure.update(artists, demo_figure.with_range(result, sub_s=120), 0.5)
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    return figure, np.asarray(canvas.buffer_rgba())[..., :3]


def test_contrast_agrees_with_the_guideline_for_black_on_white():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)  # WCAG 2.2: the ratio ranges from 1 to 21


@BOTH
def test_text_and_lines_reach_the_contrast_of_wcag(look):
    assert contrast(look.ink, look.ground) >= 4.5
    for role, stroke in look.strokes.items():
        assert contrast(stroke.colour, look.ground) >= 3.0, role


@BOTH
def test_strokes_differ_in_dash_and_marker_not_in_colour_alone(look):
    assert len({str(stroke.dash) for stroke in look.strokes.values()}) == len(look.strokes)
    assert len({stroke.marker for stroke in look.strokes.values()}) == len(look.strokes)
    assert (
        len({stroke.colour for role, stroke in look.strokes.items() if role != "limit"})
        == len(look.strokes) - 1
    )


def test_the_light_curves_use_the_colours_of_okabe_and_ito():
    strokes = looks.LIGHT.strokes
    for role, name in {
        "first": "blue",
        "second": "vermilion",
        "third": "bluish green",
        "fourth": "black",
    }.items():
        # within a fifth: one hue is darkened so that it reaches 3:1 on white
        np.testing.assert_allclose(to_rgb(strokes[role].colour), to_rgb(OKABE_ITO[name]), atol=0.2)


def test_every_colour_of_the_red_look_is_red_only():
    red = looks.RED
    named = [red.ground, red.ink, red.quiet, red.grid, red.band, red.accent]
    named += [stroke.colour for stroke in red.strokes.values()]
    for colour in [*map(to_rgb, named), *red.colour_map(np.linspace(0, 1, 64))[:, :3]]:
        np.testing.assert_array_equal(colour[1:], 0.0)


def test_a_figure_in_red_has_no_green_and_no_blue_in_any_pixel():
    _, pixels = drawn(looks.RED)
    assert pixels[..., 1:].max() == 0
    assert pixels[..., 0].max() > 200


def test_a_figure_in_the_light_look_stands_on_white():
    _, pixels = drawn(looks.LIGHT)
    np.testing.assert_array_equal(pixels[0, 0], 255)


@BOTH
def test_every_text_is_at_least_11_pt(look):
    figure, _ = drawn(look)
    sizes = {text.get_text(): text.get_fontsize() for text in figure.findobj(Text) if text.get_text()}
    assert len(sizes) > 15
    assert min(sizes.values()) >= 11.0, sizes


@BOTH
def test_a_small_text_is_lifted_to_11_pt(look):
    figure = looks.new_figure()
    ax = figure.subplots()
    ax.set_xlabel("small", fontsize=6)
    ax.plot([0, 1], label="curve")
    ax.legend(fontsize=6, title="legend")
    figure.suptitle("above", fontsize=6)
    looks.apply(look, figure)
    lifted = [ax.xaxis.label, *ax.get_legend().get_texts(), ax.get_legend().get_title(), *figure.texts]
    assert {text.get_fontsize() for text in (*lifted, figure._suptitle)} == {11.0}


def test_apply_changes_only_the_axes_it_is_given():
    figure = looks.new_figure()
    one, other = figure.subplots(1, 2)
    looks.apply(looks.RED, figure, [one])
    assert to_rgb(one.get_facecolor()) == (0, 0, 0)
    assert to_rgb(other.get_facecolor()) == (1, 1, 1)


def test_nothing_global_changes():
    before = dict(matplotlib.rcParams)
    drawn(looks.RED)
    assert dict(matplotlib.rcParams) == before


def test_no_pyplot_is_loaded():
    code = "import sys, workbook.figures.look, workbook.panels; print('matplotlib.pyplot' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"


def test_the_default_figure_is_900_by_450_pixels():
    assert FigureCanvasAgg(looks.new_figure()).get_width_height() == (900, 450)
    assert FigureCanvasAgg(looks.new_figure(width_px=640, height_px=300)).get_width_height() == (640, 300)


def test_the_page_is_painted_in_red_only_by_the_red_look():
    assert looks.page_css(looks.LIGHT) == ""
    css = looks.page_css(looks.RED)
    assert "mix-blend-mode:multiply" in css
    assert "pointer-events:none" in css  # the sheet must not catch clicks
    assert css.count("{") == css.count("}")


@BOTH
def test_the_other_look_of_the_other_is_this_one(look):
    assert looks.other(look) is not look
    assert looks.other(looks.other(look)) is look
