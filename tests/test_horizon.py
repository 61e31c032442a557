"""The horizon mask: exact corners, and a brute-force walk along the drawn line as oracle."""

import numpy as np
import pytest

from workbook import horizon

BALCONY = [(95, 20), (95, 5), (215, 5), (215, 20)]


def walked_floor_deg(points, azimuth_deg):
    """The line drawn in 20,000 steps from point to point: the highest ink within 0.01° of an azimuth."""
    around = [*points, (points[0][0] + 360, points[0][1])]
    ink = np.concatenate(
        [
            np.linspace(start, end, 20_001)
            for start, end in zip(np.array(around[:-1], float), np.array(around[1:], float), strict=True)
        ]
    )
    away = np.abs((ink[:, 0] - azimuth_deg + 180) % 360 - 180)
    return ink[away <= 0.01, 1].max()


def drawn_points(rng):
    count = rng.integers(1, 12)
    azimuth = np.sort(rng.choice(np.arange(0, 361, 5), size=count, replace=False)).astype(float)
    if count > 1 and azimuth[0] == 0 and azimuth[-1] == 360:
        azimuth = azimuth[:-1]
    points = []
    for each in azimuth:
        edge = each != 0 and rng.random() < 0.3
        points += [(each, rng.uniform(-5, 60)) for _ in range(1 + edge)]
    return points


@pytest.mark.parametrize("seed", range(20))
def test_floor_is_the_drawn_line(seed):
    """0.25°: the walk sees 0.01° to each side, and 55° in 5° of azimuth is the steepest slope drawn."""
    rng = np.random.default_rng(seed)
    points = drawn_points(rng)
    mask = horizon.mask(points)
    azimuth_deg = np.concatenate([rng.uniform(0, 360, 25), [point[0] for point in points], [0.0, 360.0]])
    walked = [walked_floor_deg(points, each) for each in azimuth_deg]
    np.testing.assert_allclose(mask.floor_deg(azimuth_deg), walked, rtol=0, atol=0.25)


def test_floor_wraps_round_north():
    mask = horizon.mask([(90, 10), (270, 30)])
    np.testing.assert_allclose(
        mask.floor_deg([0, 360, 315, 45, 90, 180]), [20, 20, 25, 15, 10, 20], rtol=1e-12
    )
    np.testing.assert_allclose(mask.floor_deg([-45, 720 + 45, -1e-17]), [25, 15, 20], rtol=1e-12)


def test_north_may_be_an_edge():
    mask = horizon.mask([(0, 10), (180, 10), (360, 40)])
    np.testing.assert_allclose(
        mask.floor_deg([0, 360, 1e-9, 359.999999, 270]), [40, 40, 10, 40, 25], atol=1e-5
    )


@pytest.mark.parametrize(
    "edge",
    [[(360, 40), (360, 10)], [(0, 40), (0, 10)], [(0, 40), (360, 10)], [(30, 5), (360, 40), (360, 10)]],
)
def test_the_higher_end_of_an_edge_in_the_north_counts(edge):
    np.testing.assert_allclose(horizon.mask(edge).floor_deg([0, 360]), 40)


def test_vertical_edges_belong_to_the_higher_side():
    mask = horizon.mask(BALCONY)
    np.testing.assert_allclose(
        mask.floor_deg([94.999, 95, 95.001, 214.999, 215, 215.001]), [20, 20, 5, 5, 20, 20]
    )
    assert not mask.open(altitude_deg=19.9, azimuth_deg=95)
    assert mask.open(altitude_deg=19.9, azimuth_deg=95.001)


def test_no_points_are_a_flat_horizon_and_one_a_level_floor():
    flat = horizon.mask([])
    np.testing.assert_array_equal(
        flat.open(altitude_deg=[-0.01, 0, 90], azimuth_deg=[0, 123, 360]), [False, True, True]
    )
    np.testing.assert_array_equal(horizon.mask([(95, 20)]).floor_deg([0, 94, 95, 96, 360]), 20)


def test_ceiling_and_ends_are_included():
    mask = horizon.mask(BALCONY, ceiling_deg=60)
    seen = mask.open(altitude_deg=[4.99, 5, 60, 60.01], azimuth_deg=150)
    np.testing.assert_array_equal(seen, [False, True, True, False])


def test_nan_is_never_open_and_shapes_broadcast():
    mask = horizon.mask(BALCONY)
    assert mask.open(altitude_deg=np.nan, azimuth_deg=150) is False
    assert mask.open(altitude_deg=30, azimuth_deg=np.nan) is False
    assert mask.open(altitude_deg=30, azimuth_deg=150) is True
    table = mask.open(altitude_deg=[[10], [30], [np.nan]], azimuth_deg=[100, 250])
    np.testing.assert_array_equal(table, [[True, False], [True, True], [False, False]])
    assert np.isnan(mask.floor_deg([np.nan, 100])).tolist() == [True, False]
    assert np.isnan(horizon.mask([(0, 5), (360, 8)]).floor_deg(np.nan))


def test_a_mask_cannot_be_changed():
    mask = horizon.mask(BALCONY)
    with pytest.raises(ValueError, match="read-only"):
        mask.altitude_deg[0] = 0
    with pytest.raises(AttributeError):
        mask.ceiling_deg = 10


def test_text_and_file_give_the_same_mask(tmp_path):
    file = tmp_path / "balcony.csv"
    file.write_text(
        "\ufeff# balcony, west side\nazimuth_deg,altitude_deg\n\n95,20\n95, 5\n215,5\n215,20\n",
        encoding="utf-8",
    )
    wanted = horizon.mask(BALCONY, ceiling_deg=70)
    for mask in (
        horizon.read_csv(file, ceiling_deg=70),
        horizon.from_text("95 20, 95 5, 215 5, 215 20", ceiling_deg=70),
        horizon.from_text("95 20,\n95 5\n215 5, 215 20,\n", ceiling_deg=70),
    ):
        np.testing.assert_array_equal(mask.azimuth_deg, wanted.azimuth_deg)
        np.testing.assert_array_equal(mask.altitude_deg, wanted.altitude_deg)
        assert mask.ceiling_deg == wanted.ceiling_deg
    assert horizon.from_text("").floor_deg(10) == 0


@pytest.mark.parametrize(
    ("points", "words"),
    [
        ([(95, 20), (90, 20)], "point 2 of the horizon: azimuths must rise, received 90° after 95°"),
        ([(95, 20), (361, 20)], "azimuth must be 0 to 360°, received 361°"),
        ([(-5, 20)], "azimuth must be 0 to 360°, received -5°"),
        ([(20, 95)], "altitude must be −90 to 90°, received 95°: azimuth comes first"),
        ([(np.nan, 5)], "azimuth must be 0 to 360°, received nan°"),
        ([(5, np.nan)], "altitude must be"),
        ([(95, 0), (95, 30), (95, 0)], "point 3 of the horizon: azimuth 95° stands there three times"),
        ([(0, 0), (0, 30), (360, 0)], "azimuth 360° stands there three times"),
        ([(95, 20, 3)], "point 1 of the horizon must be azimuth and altitude in degrees, received"),
        ([95, 20], "point 1 of the horizon must be azimuth and altitude"),
        ([("south", 20)], "point 1 of the horizon must be azimuth and altitude"),
    ],
)
def test_bad_points_say_which(points, words):
    with pytest.raises(ValueError, match=words):
        horizon.mask(points)


def test_bad_ceiling_and_bad_text():
    with pytest.raises(ValueError, match="ceiling_deg must be 0 to 90 °, received 91 °"):
        horizon.mask([], ceiling_deg=91)
    with pytest.raises(ValueError, match="point 2 of the horizon must be azimuth and altitude"):
        horizon.from_text("95 20, 215")


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("azimuth,altitude\n10,5\n20;7\n", "roofs.csv, line 3: needs two numbers, .* received '20;7'"),
        ("10,5,1\n", "roofs.csv, line 1: needs two numbers"),
        ("10,5\nazimuth,altitude\n", "roofs.csv, line 2: needs two numbers"),
        ("# mine\n\n10,5\n5,5\n", "roofs.csv, line 4: azimuths must rise"),
        ("10,99\n", "roofs.csv, line 1: altitude must be −90 to 90°, received 99°"),
        ("10,5\n20,\n", "roofs.csv, line 2: needs two numbers"),
    ],
)
def test_bad_files_say_the_line(tmp_path, text, words):
    file = tmp_path / "roofs.csv"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match=words):
        horizon.read_csv(file)


# Clicks

WALLS = [(95, 20), (95, 5), (215, 5), (215, 20)]


@pytest.mark.parametrize("leftwards", [False, True])
@pytest.mark.parametrize("seed", range(4))
def test_clicks_along_the_roofs_make_the_typed_mask(seed, leftwards):
    """Each corner clicked within 0.4° of azimuth, from either side, against the typed list; away from edges."""
    rng = np.random.default_rng(seed)
    clicks = [(azimuth + rng.uniform(-0.4, 0.4), altitude) for azimuth, altitude in WALLS]
    clicks = clicks[::-1] if leftwards else clicks
    azimuth = np.array([0, 50, 93, 97, 150, 213, 217, 300])
    drawn = horizon.from_clicks(clicks, ceiling_deg=70)
    np.testing.assert_allclose(drawn.floor_deg(azimuth), horizon.mask(WALLS).floor_deg(azimuth), atol=1e-9)
    assert drawn.ceiling_deg == 70


def test_forgotten_clicks_may_follow():
    """Single points in any order are the sorted list; a point added last keeps the edges as they were drawn."""
    points = [(20, 5), (70, 12), (130, 3), (250, 30), (310, 8)]
    shuffled = [points[k] for k in (3, 0, 4, 2, 1)]
    azimuth = np.arange(0, 360, 7)
    np.testing.assert_allclose(
        horizon.from_clicks(shuffled).floor_deg(azimuth), horizon.mask(points).floor_deg(azimuth)
    )
    late = horizon.from_clicks([*WALLS, (155, 15)])
    np.testing.assert_allclose(late.floor_deg([50, 125, 155, 185, 300]), [20, 10, 15, 10, 20])


def test_clicks_wrap_and_merge():
    """Azimuths of any turn; three clicks on one wall keep its ends; a lone roof over flat ground stays a roof."""
    drawn = horizon.from_clicks([(-90, 10), (450, 30)])
    np.testing.assert_allclose(drawn.floor_deg([270, 90, 0]), [10, 30, 20])
    wall = horizon.from_clicks([(100, 0), (100.3, 12), (100.6, 40), (180, 40), (180.5, 0)])
    np.testing.assert_allclose(wall.floor_deg([50, 99, 140, 179, 250]), [0, 0, 40, 40, 0], atol=1e-9)
    assert len(wall.azimuth_deg) == 4


@pytest.mark.parametrize(
    ("clicks", "words"),
    [
        ([], "clicks must hold one point or more, received none: click along the roofs first"),
        (
            [(5, 5), (9, 95)],
            r"click 2 must be an azimuth and an altitude .* received 9°, 95°: azimuth comes first",
        ),
        ([(np.nan, 5)], "click 1 must be an azimuth"),
        ([(5, 5, 5)], "click 1 must be azimuth and altitude in degrees, received"),
        ([("roof", 5)], "click 1 must be azimuth and altitude in degrees"),
    ],
)
def test_bad_clicks_say_which(clicks, words):
    with pytest.raises(ValueError, match=words):
        horizon.from_clicks(clicks)
