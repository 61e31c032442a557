"""Threads, bars, counterweights, settling and the tap test: standards, beam integration, another least squares."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import quad, solve_bvp, solve_ivp
from scipy.optimize import curve_fit
from support import assert_broadcasts, assert_row, rows

import workbook.balance.bars as bars
import workbook.balance.counterweight as counterweight
import workbook.balance.settle as settle

ROWS = rows("mechanics.csv")
KILO = {"load_n": 9.80665, "length_mm": 300, "core_diameter_mm": 12, "modulus_gpa": 210}
SELF = {"length_mm": 300, "core_diameter_mm": 12, "modulus_gpa": 210, "density_kg_m3": 7850}
DEMO = {
    "load_kg": 2.6, "load_arm_mm": 95, "counterweight_kg": 1.4, "bar_thread": "M12", "bar_length_mm": 300,
    "bar_root_mm": 30, "material": "steel",
}  # fmt: skip
BEND = 210e3 * np.pi / 64 * 12**4  # N mm²


@pytest.mark.parametrize(
    ("row", "size"),
    [("MEC-01a", "M5"), ("MEC-01b", "M6"), ("MEC-01c", "M8"), ("MEC-01d", "M10"), ("MEC-01e", "M12")],
)
def test_threads_of_the_standard(row, size):
    """Source: reference rows MEC-01a to MEC-01e (ISO 898-1)."""
    assert_row(ROWS[row], bars.thread(size).stress_mm2)


def test_thread_is_ordered_and_softer():
    """Derivation: core < stress < pitch < nominal diameter; M12 bends 1.80 times as far as a plain 12 mm bar."""
    m12 = bars.thread("M12")
    assert m12.core_mm < m12.stress_diameter_mm < m12.pitch_diameter_mm < m12.nominal_mm == 12
    assert m12.pitch_mm == 1.75
    assert m12.core_mm == pytest.approx(9.853, abs=5e-4)  # source: ISO 724 with ISO 898-1 (d3), recalled
    assert m12.pitch_diameter_mm == pytest.approx(10.863, abs=5e-4)  # source: ISO 724 (d2), recalled
    soft = bars.bar_deflection_mm(
        **KILO | {"core_diameter_mm": m12.stress_diameter_mm}
    ) / bars.bar_deflection_mm(**KILO)
    assert soft == pytest.approx(1.80, abs=0.005)
    with pytest.raises(ValueError, match=r"size must be one of 'M5', .*, 'M16', received 'M7'"):
        bars.thread("M7")


def test_bars_by_their_rows():
    """Rows MEC-02, 03, 06, 07, 09, 10 and 11."""
    assert_row(ROWS["MEC-02"], bars.bar_mass_kg_m(diameter_mm=12, density_kg_m3=7850))
    rod = bars.thread("M12").stress_diameter_mm
    assert_row(ROWS["MEC-03"], bars.bar_mass_kg_m(diameter_mm=rod, density_kg_m3=7850))
    assert_row(ROWS["MEC-06"], bars.bar_deflection_mm(**KILO))
    assert_row(ROWS["MEC-07"], bars.bar_slope_arcsec(**KILO))
    assert_row(ROWS["MEC-09"], bars.bar_own_sag_mm(**SELF))
    assert_row(ROWS["MEC-10"], bars.second_moment_mm4(outer_mm=20, inner_mm=16))
    assert_row(ROWS["MEC-11"], bars.bar_stress_mpa(load_n=9.80665, length_mm=300, core_diameter_mm=12))


@pytest.mark.parametrize(("load", "own"), [(20.0, 0.0), (0.0, 0.02)])
def test_bars_by_integrating_the_bending_line(load, own):
    """Source: scipy's boundary-value solver for y'' = M(x)/EI from a rigid clamp; point load, then own weight."""

    def bending(x, y):
        moment = load * (300 - x) + own * (300 - x) ** 2 / 2
        return np.vstack([y[1], moment / BEND])

    line = solve_bvp(bending, lambda a, b: a, np.linspace(0, 300, 21), np.zeros((2, 21)), tol=1e-8)
    sag, slope = line.sol(300)
    if load:
        assert bars.bar_deflection_mm(**KILO | {"load_n": load}) == pytest.approx(sag, rel=1e-6)
        assert bars.bar_slope_arcsec(**KILO | {"load_n": load}) == pytest.approx(
            np.degrees(slope) * 3600, rel=1e-6
        )
    else:
        density = own / (9.80665 * np.pi * 36) * 1e9  # N/mm to kg/m³
        assert bars.bar_own_sag_mm(**SELF | {"density_kg_m3": density}) == pytest.approx(sag, rel=1e-6)


def test_second_moment_is_the_integral():
    """Source: scipy's quad of y² over the ring."""
    ring = quad(lambda r: np.pi * r**3, 6.5, 9)[0]
    assert bars.second_moment_mm4(outer_mm=18, inner_mm=13) == pytest.approx(ring, rel=1e-9)


def test_materials_name_their_standard():
    assert bars.MATERIALS["steel"][:2] == (210, 7850)
    assert all(m.standard.startswith("EN ") for m in bars.MATERIALS.values())


def test_counterweight_rows_mec_04_and_05():
    load = {"load_kg": 3.2, "load_arm_mm": 120, "counterweight_kg": 1.0}
    assert_row(ROWS["MEC-04"], counterweight.counterweight_arm_mm(**load))
    assert_row(
        ROWS["MEC-05"], counterweight.counterweight_arm_with_bar_mm(**load, bar_kg=0.3, bar_centre_mm=160)
    )


def test_choice_is_in_balance_and_its_sag_and_swing_are_those_of_the_bar():
    """Derivation: moments of the three masses cancel; sag by the beam; swing as a spring with the mass on it."""
    found = counterweight.choose_counterweight(**DEMO)
    rod = bars.thread("M12")
    per_m = rod.stress_mm2 * 7850e-6
    bar = 0.3 * per_m
    assert pytest.approx(1.4 * found.arm_mm + bar * 180, rel=1e-9) == 2.6 * 95
    assert found.fits
    assert found.left_n_m == 0
    assert found.carried_kg == pytest.approx(2.6 + 1.4 + bar)
    spots = 30 + 300 * (np.arange(3000) + 0.5) / 3000
    inertia = 2.6 * 95**2 + 1.4 * found.arm_mm**2 + np.sum(bar / 3000 * spots**2)
    assert found.inertia_kg_m2 == pytest.approx(1e-6 * inertia, rel=1e-6)
    free = found.arm_mm - 30
    stiff = 3 * 210e3 * np.pi / 64 * rod.stress_diameter_mm**4 / free**3
    assert found.sag_mm == pytest.approx(1.4 * 9.80665 / stiff, rel=1e-9)
    assert found.swing_hz == pytest.approx(
        np.sqrt(stiff * 1e3 / (1.4 + 33 / 140 * per_m * free / 1e3)) / 2 / np.pi
    )


def test_heavier_weight_close_by_swings_less_but_is_carried():
    light, heavy = (counterweight.choose_counterweight(**DEMO | {"counterweight_kg": m}) for m in (0.9, 2.0))
    assert heavy.inertia_kg_m2 < light.inertia_kg_m2
    assert heavy.sag_mm < light.sag_mm
    assert heavy.tilt_arcsec < light.tilt_arcsec
    assert heavy.swing_hz > light.swing_hz
    assert heavy.carried_kg > light.carried_kg


def test_bar_too_short_leaves_a_moment():
    """Derivation: 0.5 kg would have to stand at 402 mm; at the end of a bar of 230 mm the rest stays."""
    short = counterweight.choose_counterweight(**DEMO | {"counterweight_kg": 0.5, "bar_length_mm": 200})
    bar = bars.thread("M12").stress_mm2 * 7850e-6 * 0.2
    assert not short.fits
    left = (2.6 * 95 - bar * 130 - 0.5 * 230) * 9.80665e-3
    assert short.left_n_m == pytest.approx(left, rel=1e-9)
    heavy_bar = counterweight.choose_counterweight(**DEMO | {"load_kg": 0.2, "load_arm_mm": 50})
    assert not heavy_bar.fits
    assert heavy_bar.left_n_m < 0


def test_leaning_torque_is_a_lever_on_an_inclined_axle():
    """Derivation: potential energy of the moment M on an axle of slope α: −M cos α sin θ, its derivative by θ."""

    def energy(turn):
        return 0.4 * np.cos(np.radians(52.4)) * np.sin(np.radians(turn))  # fmt: skip

    turns = np.array([-170, -90, 0, 33, 120.0])
    wanted = (energy(turns + 1e-4) - energy(turns - 1e-4)) / np.radians(2e-4)
    found = counterweight.leaning_torque_n_m(moment_n_m=0.4, axis_altitude_deg=52.4, primary_deg=turns)
    np.testing.assert_allclose(found, wanted, atol=1e-6)


def swing(time, frequency, damping, start=30.0, phase=0.3):
    """A damped swing integrated step by step by scipy, not the closed form."""
    omega = 2 * np.pi * frequency
    move = solve_ivp(
        lambda t, y: [y[1], -2 * damping * omega * y[1] - omega**2 * y[0]],
        (0, time[-1]), [start * np.cos(phase), start * omega * np.sin(phase)], t_eval=time, rtol=1e-9, atol=1e-9,
    )  # fmt: skip
    return move.y[0]


@pytest.mark.parametrize(("frequency", "damping"), [(6, 0.03), (12, 0.01), (2, 0.1)])
def test_settling_by_integrating_the_swing(frequency, damping):
    """Source: scipy's integration of the oscillator: after the time its crests are below, before it not."""
    found = settle.settle_time_s(from_arcsec=60, to_arcsec=1, frequency_hz=frequency, damping_ratio=damping)
    time = np.arange(0, 1.5 * found, 1 / frequency / 400)
    path = np.abs(swing(time, frequency, damping, start=60, phase=0))
    assert path[time > found + 1e-9].max() <= 1.005
    assert path[(time > found - 1.1 / frequency) & (time <= found)].max() >= 1


def test_settling_limits():
    rest = {"frequency_hz": 6, "damping_ratio": 0.03}
    assert settle.settle_time_s(from_arcsec=1, to_arcsec=2, **rest) == 0
    by_hand = settle.settle_time_s(from_arcsec=np.e, to_arcsec=1, **rest)
    assert by_hand == pytest.approx(1 / (2 * np.pi * 6 * 0.03))


def test_frequency_row_mec_14():
    assert_row(ROWS["MEC-14"], settle.frequency_from_sag_hz(sag_mm=2.482))


@pytest.mark.parametrize(("frequency", "damping"), [(6, 0.03), (11, 0.15), (2.3, 0.004)])
def test_tap_gives_back_the_oscillator(frequency, damping):
    """Source: scipy's integration of the oscillator; the undamped frequency comes back."""
    time = np.arange(0, 3, 0.02)
    found = settle.fit_tap(times_s=time, places_arcsec=5 + swing(time, frequency, damping))
    assert found.frequency_hz == pytest.approx(frequency, rel=1e-5)
    assert found.damping_ratio == pytest.approx(damping, rel=1e-4)
    assert found.left_arcsec < 1e-4


def test_tap_agrees_with_another_least_squares_and_is_honest():
    """Source: scipy's curve_fit on the same noisy trace; errors over sigma scatter by about one in 80 traces."""
    time, random = np.arange(0, 3, 0.03), np.random.default_rng(5)
    z = []
    for trial in range(80):
        trace = swing(time, 6, 0.03) + 2 * random.standard_normal(time.size)
        found = settle.fit_tap(times_s=time, places_arcsec=trace)
        z.append([(found.frequency_hz - 6) / found.frequency_sigma_hz,
                  (found.damping_ratio - 0.03) / found.damping_ratio_sigma])  # fmt: skip
        if trial == 0:

            def model(t, a, b, c, f, d):
                w = 2 * np.pi * f
                turn = w * np.sqrt(1 - d**2) * t
                return a + np.exp(-d * w * t) * (b * np.cos(turn) + c * np.sin(turn))

            best, covariance = curve_fit(model, time, trace, p0=[0, 28, 8, 6, 0.03])
            assert found.frequency_hz == pytest.approx(best[3], rel=1e-5)
            assert found.damping_ratio == pytest.approx(best[4], rel=1e-3)
            assert found.frequency_sigma_hz == pytest.approx(np.sqrt(covariance[3, 3]), rel=0.02)
            assert found.damping_ratio_sigma == pytest.approx(np.sqrt(covariance[4, 4]), rel=0.02)
    assert ((np.std(z, axis=0) > 0.75) & (np.std(z, axis=0) < 1.3)).all()


def test_tap_refuses_what_it_cannot_tell():
    random = np.random.default_rng(5)
    time = np.arange(0, 3, 0.03)
    with pytest.raises(ValueError, match="a tap test needs 12 samples or more, received 5"):
        settle.fit_tap(times_s=time[:5], places_arcsec=time[:5])
    with pytest.raises(ValueError, match=r"shows 1\.\d swings in .* two or more are needed"):
        settle.fit_tap(times_s=time, places_arcsec=30 * np.cos(2 * np.pi * time / 2.1))
    for _ in range(30):
        with pytest.raises(ValueError, match=r"no swing stands out|two or more are needed"):
            settle.fit_tap(times_s=time, places_arcsec=random.standard_normal(time.size))
    coarse = np.arange(0, 3, 0.08)
    with pytest.raises(ValueError, match=r"samples 0\.08 s apart are too coarse for swings of 0\.16\d* s"):
        settle.fit_tap(times_s=coarse, places_arcsec=30 * np.exp(-coarse) * np.cos(2 * np.pi * coarse * 6.1))


def test_shapes():
    assert_broadcasts(bars.second_moment_mm4, outer_mm=20, inner_mm=16)
    assert_broadcasts(bars.bar_deflection_mm, **KILO)
    assert_broadcasts(bars.bar_slope_arcsec, **KILO)
    assert_broadcasts(bars.bar_own_sag_mm, **SELF)
    assert_broadcasts(bars.bar_mass_kg_m, diameter_mm=12, density_kg_m3=7850)
    assert_broadcasts(bars.bar_stress_mpa, load_n=10, length_mm=300, core_diameter_mm=12)
    load = {"load_kg": 3.2, "load_arm_mm": 120, "counterweight_kg": 1.0}
    assert_broadcasts(counterweight.counterweight_arm_mm, **load)
    assert_broadcasts(counterweight.counterweight_arm_with_bar_mm, **load, bar_kg=0.3, bar_centre_mm=160)
    assert_broadcasts(counterweight.leaning_torque_n_m, moment_n_m=0.4, axis_altitude_deg=50, primary_deg=30)
    assert_broadcasts(settle.settle_time_s, from_arcsec=60, to_arcsec=1, frequency_hz=6, damping_ratio=0.03)
    assert_broadcasts(settle.frequency_from_sag_hz, sag_mm=2)


@pytest.mark.parametrize(
    ("function", "good", "changed", "words"),
    [
        (
            bars.bar_deflection_mm,
            KILO,
            {"load_n": -1},
            r"load_n must be 0 or more N, .*: a mass of 1 kg pulls",
        ),
        (bars.bar_deflection_mm, KILO, {"length_mm": 0}, "length_mm must be above 0 mm"),
        (bars.bar_deflection_mm, KILO, {"core_diameter_mm": 0}, "core_diameter_mm must be above 0 mm"),
        (
            bars.bar_slope_arcsec,
            KILO,
            {"modulus_gpa": 0},
            "modulus_gpa must be above 0 GPa, .*: steel has 210",
        ),
        (
            bars.bar_own_sag_mm,
            SELF,
            {"density_kg_m3": 0},
            "density_kg_m3 must be above 0 kg/m³, .*: g/cm³ are 1000",
        ),
        (
            bars.second_moment_mm4,
            {"outer_mm": 20, "inner_mm": 16},
            {"inner_mm": 20},
            "inner_mm must be below outer_mm",
        ),
        (counterweight.choose_counterweight, DEMO, {"material": "wood"}, "material must be one of 'steel'"),
        (
            counterweight.choose_counterweight,
            DEMO,
            {"counterweight_kg": 0},
            "counterweight_kg must be above 0 kg",
        ),
    ],
)
def test_errors(function, good, changed, words):
    with pytest.raises(ValueError, match=words):
        function(**good | changed)


def test_errors_of_settling():
    good = {"from_arcsec": 60, "to_arcsec": 1, "frequency_hz": 6, "damping_ratio": 0.03}
    for changed, words in [
        ({"damping_ratio": 0}, "damping_ratio must be above 0"),
        ({"damping_ratio": 3}, "damping_ratio must be 0 to 1"),
        ({"to_arcsec": 0}, "to_arcsec must be above 0 ″"),
        ({"frequency_hz": 0}, "frequency_hz must be above 0 Hz"),
    ]:
        with pytest.raises(ValueError, match=words):
            settle.settle_time_s(**good | changed)


def test_uncertainty_of_a_strongly_damped_tap_by_another_least_squares():
    """Source: scipy's curve_fit: with a damping of 0.35 decay and frequency are read together."""
    time = np.arange(0, 3, 0.02)
    trace = swing(time, 3, 0.35, phase=1.2) + 0.5 * np.random.default_rng(3).standard_normal(time.size)
    found = settle.fit_tap(times_s=time, places_arcsec=trace)

    def model(t, a, b, c, f, d):
        w = 2 * np.pi * f
        turn = w * np.sqrt(1 - d**2) * t
        return a + np.exp(-d * w * t) * (b * np.cos(turn) + c * np.sin(turn))

    best, covariance = curve_fit(model, time, trace, p0=[0, 10, 28, 3, 0.35])
    assert found.frequency_hz == pytest.approx(best[3], rel=1e-4)
    assert found.frequency_sigma_hz == pytest.approx(np.sqrt(covariance[3, 3]), rel=0.01)
    assert found.damping_ratio_sigma == pytest.approx(np.sqrt(covariance[4, 4]), rel=0.01)
