"""The horizon drawn by real clicks on the picture in JupyterLab, and by keyboard alone."""

from __future__ import annotations

import harness
from test_notebooks import serve

SOURCE = """import workbook as wb
view = wb.panels.build_horizon_mask(wb.passport.scenario("balcony"))
view"""
# The frame of the picture in shares of it, from the panel itself: both ends of 0 to 360° and of 0 to 90°.
FRAME = "box = view.canvas.figure.axes[0].get_position(); print(*box.extents)"
ROOFS = [(30, 15), (95, 60), (95, 20), (215, 12), (300, 40)]


def test_clicks_on_the_picture_draw_the_horizon(lab, lab_folder, page, shots):
    page.set_default_timeout(harness.RUN_MS)
    harness.open_notebook(page, lab, serve(lab_folder, "demo-horizon.ipynb", SOURCE, FRAME))
    assert page.evaluate(harness.RUN_ALL) is True
    streams = [out["text"] for out in page.evaluate(harness.OUTPUTS) if out["stream"] == "stdout"]
    left, low, right, high = map(float, streams[-1].split())
    picture, written = page.locator(harness.PICTURE).first, page.get_by_label("List", exact=True)
    page.get_by_role("button", name="Clear all").click()
    assert harness._soon(lambda: written.input_value() == "0 0")
    picture.scroll_into_view_if_needed()
    for count, (azimuth, altitude) in enumerate(ROOFS, start=1):
        source, size = picture.get_attribute("src"), picture.bounding_box()
        x = left + (right - left) * azimuth / 360.0
        y = 1.0 - low - (high - low) * altitude / 90.0
        picture.click(position={"x": x * size["width"], "y": y * size["height"]})
        assert harness._soon(lambda n=count: len(written.input_value().split(",")) == n)
        assert harness._soon(lambda before=source: picture.get_attribute("src") != before)
    assert written.input_value() == "30 15, 95 60, 95 20, 215 12, 300 40"
    page.screenshot(path=shots / "horizon-clicks.png")
    for label, value in (("Azimuth [°]", "150"), ("Altitude [°]", "33")):
        box = page.get_by_label(label)
        box.fill(value)
        box.press("Tab")  # a number box sends its value when it is left
    page.wait_for_timeout(500)  # press and value come to the kernel by different threads
    page.get_by_role("button", name="Add the point").press("Enter")
    assert harness._soon(lambda: "95 20, 150 33, 215 12" in written.input_value()), written.input_value()
    page.get_by_label("CSV file").fill("nowhere.csv")
    page.get_by_label("CSV file").press("Tab")
    page.wait_for_timeout(500)
    page.get_by_role("button", name="Read the file").press("Enter")
    alert = page.locator(harness.ALERT)
    assert harness._soon(lambda: "there is no file 'nowhere.csv'" in " ".join(alert.all_inner_texts()))
    assert "95 20, 150 33, 215 12" in written.input_value()
    assert not [
        out for out in page.evaluate(harness.OUTPUTS) if out["kind"] == "error" or out["stream"] == "stderr"
    ]
