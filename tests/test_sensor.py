"""Dark current, warm-up and dynamic range."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from support import assert_broadcasts, assert_row, rows

import workbook.sensor.dark as dark
import workbook.sensor.emva as emva
import workbook.sensor.warm as warm

LIGHT = rows("light.csv")
DARK = {"reference_e_s_px": 0.1, "reference_degc": 20.0, "temperature_degc": 8.0, "doubling_k": 6.0}
WARM = {"air_degc": 8.0, "elapsed_min": 12.0, "warm_up_k": 7.0, "warm_up_min": 30.0}
KELVIN_0_DEGC = 273.15
BOLTZMANN_EV_K = 8.617333262e-5  # CODATA 2018


def test_dark_current_over_twenty_degrees():
    """Source: reference row DET-13."""
    warm, cold = (
        dark.dark_e_s_px(reference_e_s_px=0.3, reference_degc=18, temperature_degc=t, doubling_k=6.3)
        for t in (25, 5)
    )
    assert_row(LIGHT["DET-13"], warm / cold)


def test_dark_current_against_a_measured_drop():
    """Source: reference row DET-10, with the doubling of reference row DET-11 (nearly the same energy)."""
    warm, cold = (
        dark.dark_e_s_px(
            reference_e_s_px=1,
            reference_degc=20,
            temperature_degc=t,
            doubling_k=LIGHT["DET-11"]["expected"],
        )
        for t in (21, 10)
    )
    assert_row(LIGHT["DET-10"], warm / cold)


def test_dark_current_against_the_exponential_law():
    """Source: d = d₀ exp(−E/kT), Widenhorn et al. 2002 (row DET-11); within 5 % over ±5 K."""
    t = np.linspace(15, 25, 11)
    law = np.exp(-0.63 / BOLTZMANN_EV_K * (1 / (KELVIN_0_DEGC + t) - 1 / (KELVIN_0_DEGC + 20)))
    ours = dark.dark_e_s_px(
        reference_e_s_px=1, reference_degc=20, temperature_degc=t, doubling_k=LIGHT["DET-11"]["expected"]
    )
    np.testing.assert_allclose(ours, law, rtol=0.05)


def test_dark_current_limits():
    """Derivation: unchanged at the reference, twice it one doubling warmer, half it one colder."""
    at = {"reference_e_s_px": 0.1, "reference_degc": 20, "doubling_k": 6}
    rates = dark.dark_e_s_px(**at, temperature_degc=[20, 26, 14])
    np.testing.assert_allclose(rates, [0.1, 0.2, 0.05], rtol=1e-12)


def test_warm_up_against_the_heat_equation():
    """Derivation: Newton's law of cooling integrated by scipy, time constant 30/3 min, to 1e-6 K."""
    heat = solve_ivp(
        lambda t, rise: (7.0 - rise) / 10.0, (0, 60), [0.0], t_eval=[0, 5, 12, 30, 60], rtol=1e-10, atol=1e-10
    )
    ours = warm.sensor_temperature_degc(**WARM | {"elapsed_min": heat.t})
    np.testing.assert_allclose(ours, 8 + heat.y[0], atol=1e-6)


def test_warm_up_limits():
    """Derivation: air at the start, 95.02 % of the rise after the warm-up time, all of it in the end."""
    ours = warm.sensor_temperature_degc(**WARM | {"elapsed_min": [0, 30, 1e4]})
    np.testing.assert_allclose(ours, [8, 8 + 7 * (1 - np.exp(-3)), 15], rtol=1e-12)
    np.testing.assert_allclose((ours[1] - 8) / 7, 0.95, atol=5e-4)


def test_dynamic_range():
    """Source: reference rows DET-03 (threshold) and DET-06 (stops; one stop is 20 log10(2) dB)."""
    db = emva.dynamic_range_db(saturation_e=15000, threshold_e=LIGHT["DET-03"]["expected"])
    assert_row(LIGHT["DET-06"], db / (20 * np.log10(2)))
    np.testing.assert_allclose(emva.dynamic_range_db(saturation_e=1e4, threshold_e=1), 80, rtol=1e-12)
    assert emva.dynamic_range_db(saturation_e=5, threshold_e=5) == 0


def test_shapes():
    assert_broadcasts(dark.dark_e_s_px, **DARK)
    assert_broadcasts(warm.sensor_temperature_degc, **WARM)
    assert_broadcasts(emva.dynamic_range_db, saturation_e=13000, threshold_e=2)


@pytest.mark.parametrize(
    ("function", "good", "bad", "message"),
    [
        (dark.dark_e_s_px, DARK, {"reference_e_s_px": -1}, r"reference_e_s_px must be 0 or more e⁻/s/px"),
        (dark.dark_e_s_px, DARK, {"reference_degc": 293}, r"reference_degc .* received 293 °C: .*kelvins"),
        (
            dark.dark_e_s_px,
            DARK,
            {"temperature_degc": 281},
            r"temperature_degc must be -100 to 100 °C.*kelvins",
        ),
        (dark.dark_e_s_px, DARK, {"doubling_k": 0}, r"doubling_k must be above 0 K, received 0 K"),
        (
            warm.sensor_temperature_degc,
            WARM,
            {"air_degc": 281},
            r"air_degc must be -100 to 100 °C.*kelvins",
        ),
        (warm.sensor_temperature_degc, WARM, {"elapsed_min": -1}, r"elapsed_min must be 0 or more min"),
        (warm.sensor_temperature_degc, WARM, {"warm_up_k": -1}, r"warm_up_k must be 0 or more K"),
        (warm.sensor_temperature_degc, WARM, {"warm_up_min": 0}, r"warm_up_min must be above 0 min"),
        (
            emva.dynamic_range_db,
            {"threshold_e": 2},
            {"saturation_e": 0},
            r"saturation_e must be above 0 e⁻",
        ),
        (
            emva.dynamic_range_db,
            {"saturation_e": 9},
            {"threshold_e": -2},
            r"threshold_e must be above 0 e⁻",
        ),
    ],
)
def test_errors(function, good, bad, message):
    with pytest.raises(ValueError, match=message):
        function(**good | bad)
