"""Rules that hold for the whole package, and planted faults that show each rule can fail."""

from __future__ import annotations

import doctest
import importlib
from pathlib import Path

import house_rules as house
import pytest

from workbook import power, sky

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "workbook"
MODULES = house.modules_of(PACKAGE)
TOPICS = [name for name in MODULES if name.split(".")[1] in house.TOPICS]
FUNCTIONS = [
    pytest.param(function, id=f"{topic.removeprefix('workbook.')}.{name}")
    for topic in TOPICS
    for name, function in house.public_functions(importlib.import_module(topic)).items()
]


def plant(folder, **files):
    """A small package `workbook` in a folder: file name (dots for folders) to source."""
    package = folder / "workbook"
    package.mkdir()
    for name, source in ({"__init__": ""} | files).items():
        path = package / (name.replace(".", "/") + ".py")
        path.parent.mkdir(exist_ok=True)
        path.write_text(source, encoding="utf-8")
    return package


# Who imports whom


def test_nothing_points_up():
    assert house.import_faults(PACKAGE) == []


@pytest.mark.parametrize(
    ("files", "fault"),
    [
        (
            {"sky": "from workbook.verdict import x", "verdict": ""},
            "sky:1 imports workbook.verdict, which points up",
        ),
        ({"sky": "from workbook import night", "night": ""}, "sky:1 imports workbook.night, which points up"),
        ({"sky": "import workbook as wb"}, "sky:1 imports workbook, which points up"),
        (
            {"sky": "def f():\n    from workbook.night import x", "night": ""},
            "sky:2 imports workbook.night, which",
        ),
        (
            {"night.a": "from ..panels import x", "night.__init__": "", "panels": ""},
            "a:1 imports workbook.panels, wh",
        ),
        (
            {"checks": "import importlib\nimportlib.import_module('workbook.sky')", "sky": ""},
            "checks:2 imports workb",
        ),
        (
            {"figures": "from workbook import panels", "panels": ""},
            "figures:1 imports workbook.panels, which points",
        ),
        ({"sky": "from workbook.power import x", "power": "from workbook import sky"}, "is a circle"),
        ({"sky": "from workbook.power import x"}, "workbook.power, which does not exist"),
        ({"misc": ""}, "workbook.misc stands on no floor"),
        ({"sky": "from scipy import stats"}, "scipy outside a function"),
        ({"frames": "import scipy.ndimage"}, "scipy outside a function"),
        ({"sky": "def f():\n    import astropy.units"}, "a library of floor 2"),
        ({"checks": "def f():\n    from astropy import units"}, "a library of floor 2"),
        ({"units": "from astropy import units"}, "a library of floor 2"),
        ({"verdict": "import matplotlib"}, "a library of floor 4"),
        ({"figures": "from ipywidgets import Button"}, "a library of floor 5"),
        ({"figures": "from matplotlib import pyplot"}, "the global state of pyplot"),
        ({"panels": "import matplotlib.pyplot as plt"}, "the global state of pyplot"),
        ({"sky": "import pandas"}, "not one of numpy, scipy"),
    ],
)
def test_planted_imports_are_found(tmp_path, files, fault):
    assert any(fault in found for found in house.import_faults(plant(tmp_path, **files)))


def test_allowed_imports_are_left_alone(tmp_path):
    package = plant(
        tmp_path,
        units="import numpy\ndef f():\n    from astropy import units",
        sky="import math\nfrom workbook.units import f\ndef g():\n    import scipy.special",
        exposure="from workbook import sky",
        verdict="from workbook import exposure, sky\nfrom workbook.night import track",
        **{"night.__init__": "from workbook.night.track import x", "night.track": "import erfa"},
    )
    assert house.import_faults(package) == []


def test_topics_are_light():
    assert house.heavy_after_import(TOPICS, ROOT) == set()


def test_heavy_topic_is_found(tmp_path):
    plant(tmp_path, sky="import erfa")
    assert house.heavy_after_import(["workbook.sky"], tmp_path) >= {"erfa"}


def test_files_are_short():
    assert house.long_files(PACKAGE) == []


def test_long_file_is_found(tmp_path):
    package = plant(tmp_path, sky="\n" * 401, power="\n" * 400)
    assert house.long_files(package) == ["sky.py has 401 lines"]


# What a public function says about itself


@pytest.mark.parametrize("function", FUNCTIONS)
def test_suffix_docstring_and_signature_agree(function):
    assert house.documentation_faults(function) == []


GOOD = '''
def image_scale_arcsec_px(*, pixel_um, focal_mm, f_ratio, band="V"):
    """The angle that one pixel sees.

    Parameters
    ----------
    pixel_um, guard_um : float
        Pitch [µm].
    focal_mm : float
        Focal length [mm].
    f_ratio : float
        Focal ratio.
    band : str
        Passband; V by default, as is the custom.

    Returns
    -------
    float
        Scale [″/px].

    References
    ----------
    None needed.

    Examples
    --------
    >>> 1
    1
    """
'''.replace("pixel_um, guard_um :", "pixel_um :")


def faults_of(source):
    space = {"__name__": "workbook.sky"}
    exec(compile(source, "planted", "exec"), space)
    return house.documentation_faults(
        next(f for n, f in space.items() if callable(f) and not n.startswith("__"))
    )


def test_good_function_has_no_fault():
    assert faults_of(GOOD) == []


@pytest.mark.parametrize(
    ("right", "wrong", "fault"),
    [
        ("Pitch [µm].", "Pitch [mm].", "pixel_um lacks its unit [µm]"),
        ("Pitch [µm].", "Pitch.", "pixel_um lacks its unit [µm]"),
        ("Focal ratio.", "Focal ratio [mm].", "f_ratio has the unit [mm] but no suffix"),
        ("Scale [″/px].", "Scale [″].", "result lacks its unit [″/px]"),
        ("def image_scale_arcsec_px", "def image_scale", "result has the unit [″/px] but no suffix"),
        ("def image_scale_arcsec_px", "def image_scale_rad", "ends in rad, which is no suffix"),
        ("f_ratio", "focal_cm", "focal_cm ends in cm, which is no suffix"),
        ("(*, pixel_um", "(pixel_um", "takes more than one number: make all arguments keyword-only"),
        ("f_ratio, band", "f_ratio, gap_mm, band", "gap_mm is not documented"),
        ("f_ratio, band", "band", "documents f_ratio, which it does not take"),
        ("focal_mm, f_ratio", "focal_mm, f_ratio=4", "f_ratio has a default, but is no convention"),
        ("; V by default, as is the custom", "", "band does not give the reason of its default"),
        ("    References\n    ----------\n    None needed.\n", "", "has no section References"),
        ("    >>> 1\n", "", "has an example that does not run"),
        ("    Examples\n    --------\n    >>> 1\n    1\n", "", "has no section Examples"),
        ('"""The angle', '"""', "pixel_um lacks"),
    ],
)
def test_planted_documentation_faults_are_found(right, wrong, fault):
    assert right in GOOD
    source = GOOD.replace(right, wrong) if '"""' not in right else GOOD.replace("[µm]", "")
    assert any(fault in found for found in faults_of(source)), faults_of(source)


def test_function_without_docstring_is_found():
    assert "pixel_um is not documented" in faults_of("def scale_mm(*, pixel_um):\n    return 1")


# Examples run


@pytest.mark.parametrize("name", [name.removesuffix(".__init__") for name in MODULES])
def test_docstring_examples_run(name, capsys):
    failed, _ = doctest.testmod(importlib.import_module(name))
    assert failed == 0, capsys.readouterr().out


def test_wrong_example_is_found(capsys):
    module = type(power)("planted", ">>> 1 + 1\n3")
    assert doctest.testmod(module).failed == 1
    capsys.readouterr()


# Every topic function is checked against something outside


def test_every_topic_function_has_an_outside_check_or_a_derivation():
    checked = set()
    for path in {*(ROOT / "tests").glob("test_*.py")} - {Path(__file__)}:
        checked |= house.checked_functions(path.read_text(encoding="utf-8"))
    assert sorted({p.id for p in FUNCTIONS} - checked) == []


@pytest.mark.parametrize(
    "source",
    [
        'def test_a():\n    """Source: Meeus, p. 95."""\n    sky.moon_magnitude(3)',
        'def test_a():\n    """Derivation: x"""\n    f()\ndef f():\n    return sky.moon_magnitude(3)',
        'LIGHT = rows("light.csv")\ndef test_a():\n    assert sky.moon_magnitude(3) == LIGHT["A"]',
        '@parametrize("f", [sky.moon_magnitude])\ndef test_a(f):\n    """Against reference row MOO-02."""',
        'TABLE = [(sky.moon_magnitude, "Source: Meeus")]\n@parametrize("f", TABLE)\ndef test_a(f):\n    f(1)',
        "import erfa\ndef test_a():\n    assert sky.moon_magnitude(3) == erfa.moon98(1, 2)",
        "from scipy.optimize import brentq\ndef test_a():\n    assert brentq(sky.moon_magnitude, 0, 1)",
        'class TestMoon:\n    def test_a(self):\n        """Source: Meeus."""\n        sky.moon_magnitude(3)',
    ],
)
def test_sourced_checks_are_seen(source):
    assert "sky.moon_magnitude" in house.checked_functions("from workbook import sky\n" + source)


@pytest.mark.parametrize("line", ["from workbook.sky import moon_magnitude as m", "import workbook.sky as s"])
def test_sourced_checks_are_seen_under_other_names(line):
    call = {"m": "m(3)", "s": "s.moon_magnitude(3)"}[line[-1]]
    source = f'{line}\ndef test_a():\n    """Source: Meeus."""\n    assert {call}'
    assert "sky.moon_magnitude" in house.checked_functions(source)


@pytest.mark.parametrize(
    "source",
    [
        "def test_a():\n    assert sky.moon_magnitude(3) == -12.65",
        'LIGHT = rows("light.csv")\ndef test_a():\n    assert sky.moon_magnitude(3) == -12.65',
        'def test_a():\n    """Source: Meeus."""\ndef test_b():\n    sky.moon_magnitude(3)',
        "import erfa\ndef test_a():\n    assert sky.moon_magnitude(3) == -12.65",
        'def helper():\n    """Source: Meeus."""\n    return sky.moon_magnitude(3)',
        'def test_a():\n    """Source: Meeus."""\n    sky.moonlight_nl(3)',
    ],
)
def test_checks_without_a_source_do_not_count(source):
    assert "sky.moon_magnitude" not in house.checked_functions("from workbook import sky\n" + source)


def test_the_lists_of_the_house_are_not_empty():
    """The rules above loop over these; an empty list would make them pass by themselves."""
    assert len(TOPICS) >= 10
    assert sky.moonlight_nl in [p.values[0] for p in FUNCTIONS]
