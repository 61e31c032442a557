"""Every lesson in a real browser, and proof that the harness sees the faults it is there for."""

from __future__ import annotations

from pathlib import Path

import harness
import nbformat
import pytest

LESSONS = sorted(path.name for path in (Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))
SOUND = "import demo_figure\npanel = demo_figure.build()\npanel"


def serve(lab_folder, name, *sources):
    """Write a small notebook where the server finds it."""
    notebook = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(source) for source in sources])
    notebook.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3", "language": "python"}
    nbformat.write(notebook, lab_folder / name)
    return name


@pytest.mark.parametrize("name", LESSONS)
def test_a_lesson_as_a_reader_meets_it(lab, page, shots, name):
    seen = harness.visit(page, lab, name, shots)
    assert seen.faults() == []


def test_the_demonstration_panel_has_no_fault(lab, lab_folder, page, shots):
    seen = harness.visit(page, lab, serve(lab_folder, "demo-sound.ipynb", SOUND), shots)
    assert seen.faults() == []
    assert seen.panels == 1
    assert seen.names == [seen.names[0]]
    assert seen.names[0].startswith("Three curves over the hour angle")
    assert [name.split("[")[0].strip() for name in seen.field_names] == ["Sub length", "Height of the axis"]


def test_the_table_unfolds_by_keyboard_and_stays_open_while_a_slider_moves(lab, lab_folder, page):
    harness.open_notebook(page, lab, serve(lab_folder, "demo-table.ipynb", SOUND))
    page.evaluate(harness.RUN_ALL)
    table = page.locator(".jp-OutputArea table")
    assert not table.is_visible()
    page.get_by_role("button", name="Show the table").focus()
    page.keyboard.press("Enter")
    table.wait_for(state="visible")
    before = table.inner_text()
    page.locator(".noUi-handle").first.focus()
    for _ in range(20):
        page.keyboard.press("ArrowRight")
    page.wait_for_function(
        "before => document.querySelector('.jp-OutputArea table').innerText !== before", arg=before
    )
    assert table.is_visible()


def test_a_typed_number_moves_the_slider_and_the_picture(lab, lab_folder, page):
    harness.open_notebook(page, lab, serve(lab_folder, "demo-typed.ipynb", SOUND))
    page.evaluate(harness.RUN_ALL)
    source = page.locator(harness.PICTURE).get_attribute("src")
    number = page.get_by_label("Sub length")
    number.fill("250")
    number.press("Enter")
    page.wait_for_function("s => document.querySelector('img.widget-image').src !== s", arg=source)
    page.wait_for_function(
        "() => document.querySelector('.noUi-handle').getAttribute('aria-valuenow') === '250.0'"
    )


LOGARITHMIC = """import demo_figure
from workbook.panels import slider
def compute(*, sub_s, height_deg):
    return demo_figure.compute(sub_s=sub_s, height_deg=height_deg, mode="tilted", wide=False)
sub, height = slider("Sub length", 20.0, 1.0, 600.0, log=True), slider("Height", 50.0, 0.0, 90.0)
panel = demo_figure.build(controls={"sub_s": sub, "height_deg": height}, presets={}, compute=compute)
panel"""


def test_a_number_typed_beside_a_logarithmic_slider_stays_as_typed(lab, lab_folder, page):
    """The page rounds the slider to its nearest step; that must not come back as another number."""
    harness.open_notebook(page, lab, serve(lab_folder, "demo-log.ipynb", LOGARITHMIC))
    page.evaluate(harness.RUN_ALL)
    picture = page.locator(harness.PICTURE).get_attribute("src")
    number = page.get_by_label("Sub length")
    number.fill("8")
    number.press("Enter")
    page.wait_for_function("s => document.querySelector('img.widget-image').src !== s", arg=picture)
    page.wait_for_timeout(800)
    assert number.input_value() == "8"


PLANTED = {
    "handler": (
        SOUND.replace("build()", "build(compute=broken)"),
        "def broken(*, sub_s, **rest):\n"
        "    if sub_s != 120:\n        raise RuntimeError('planted')\n"
        "    return demo_figure.compute(sub_s=sub_s, **rest)",
        "a panel shows: RuntimeError: planted",
    ),
    "guard": (
        SOUND.replace("build()", "build(compute=broken)"),
        "def broken(*, sub_s, **rest):\n"
        "    if sub_s != 120:\n        raise ValueError('sub_s must be 120 s')\n"
        "    return demo_figure.compute(sub_s=sub_s, **rest)",
        "a panel shows: sub_s must be 120 s",
    ),
    "slow": (
        SOUND.replace("build()", "build(slow=broken)"),
        "def broken(result, *, sub_s, **rest):\n"
        "    if sub_s != 120:\n        raise RuntimeError('planted')\n"
        "    return demo_figure.with_range(result, sub_s=sub_s, **rest)",
        "a panel shows: RuntimeError: planted",
    ),
    "deaf": (
        SOUND.replace("build()", "build(compute=deaf)"),
        "def deaf(**_):\n"
        "    return demo_figure.compute(sub_s=120, height_deg=52.4, mode='alt-az', wide=False)",
        "the picture did not follow the slider",
    ),
    "outside": (
        "from IPython.display import HTML\nHTML('<img src=\"http://192.0.2.1/pixel.png\">')",
        "",
        "request to the outside: http://192.0.2.1/pixel.png",
    ),
    "stderr": ("import sys\nprint('planted', file=sys.stderr)", "", "stderr: planted"),
    "error": ("1 / 0", "", "a cell failed: division by zero"),
    "warning": ("import warnings\nwarnings.warn('planted')", "", "a cell failed: planted"),
    "nameless": (
        SOUND.replace("build()", "build(figure=mute)"),
        "import types\nmute = types.SimpleNamespace(**(vars(demo_figure) | {'describe': lambda result: ''}))",
        "no accessible name",
    ),
    "not red": (
        SOUND,
        "import workbook.figures.look as looks\nlooks.page_css = lambda look: ''",
        "the red page has green or blue",
    ),
}


@pytest.mark.parametrize("kind", PLANTED)
def test_a_planted_fault_is_caught(lab, lab_folder, page, tmp_path, kind):
    source, before, words = PLANTED[kind]
    name = serve(
        lab_folder, f"planted-{kind.replace(' ', '-')}.ipynb", "import demo_figure\n" + before, source
    )
    faults = harness.visit(page, lab, name, tmp_path).faults()
    assert any(words in fault for fault in faults), faults
