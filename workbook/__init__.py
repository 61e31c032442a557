"""The small-mount workbook: how far can you go in deep-sky imaging with a small, light mount?

In notebooks: `import workbook as wb`; every topic is then at hand as `wb.optics`, `wb.drive`, … and is loaded
on first use.
"""

import importlib

__version__ = "0.1.0"

_PARTS = (
    *("constants", "checks", "units"),
    *(
        "optics",
        "sampling",
        "pointing",
        "rotation",
        "alignment",
        "drive",
        "guiding",
        "balance",
        "sky",
        "sensor",
        "exposure",
        "power",
        "link",
    ),
    *("night", "horizon", "catalogue", "readers", "frames"),
    *("passport", "scenarios", "verdict", "plan", "nine_stars", "practice"),
    *("figures", "panels", "lesson", "launch"),
)


def __getattr__(name: str):
    if name in _PARTS:
        return importlib.import_module(f"workbook.{name}")
    raise AttributeError(f"workbook has no part {name!r}; its parts are {', '.join(_PARTS)}")


def __dir__():
    return [*globals(), *_PARTS]
