"""The controller against a mount simulated in fine steps, closed forms of a simple loop, and play seen by hand."""

from __future__ import annotations

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.guiding.servo as servo

ROWS = rows("guiding.csv")
RATE = 15.041067
T = np.arange(0, 600, 0.1)
CALM = {
    "exposure_s": 2.0,
    "dead_time_s": 1.0,
    "aggressiveness": 0.6,
    "minimum_move_arcsec": 0.0,
    "longest_pulse_s": 2.0,
    "guide_speed": 0.5,
    "dec_deg": 0.0,
    "backlash_arcsec": 0.0,
    "centroid_sigma_arcsec": 0.0,
    "seed": 1,
    "directions": "both",
}
HAND = {
    k: CALM[k] for k in ("exposure_s", "dead_time_s", "guide_speed", "dec_deg", "backlash_arcsec", "seed")
}
HAND |= {"centroid_sigma_arcsec": 0.0}


def night(ra=0.0, dec=0.0, air=None, t=T):
    return {
        "times_s": t,
        "ra_arcsec": ra + 0 * t,
        "dec_arcsec": dec + 0 * t,
        "air_arcsec": np.zeros((2, t.size)) if air is None else air,
    }


def test_pulse_rows_trk_11_and_12():
    assert_row(ROWS["TRK-11"], servo.pulse_s(move_arcsec=1, guide_speed=0.5, dec_deg=0))
    assert_row(ROWS["TRK-12"], servo.pulse_s(move_arcsec=1, guide_speed=0.5, dec_deg=60))
    assert servo.pulse_s(move_arcsec=-1, guide_speed=0.5, dec_deg=-60) == pytest.approx(-0.26594, abs=1e-5)


def stepped(paths, air, how, t=T, fine=20):
    """The same night moved in steps of 5 ms; no line of it comes from the package.

    A motor runs at the guide speed while its pulse lasts, and pushes a wheel that stands loose between two walls.
    """
    h = (t[1] - t[0]) / fine
    speed = how["guide_speed"] * RATE * np.array([np.cos(np.radians(how["dec_deg"])), 1.0])
    half_play = np.array([0.0, how["backlash_arcsec"]]) / 2
    motor, wheel, shown = np.zeros(2), np.zeros(2), np.zeros((2, t.size))
    begins, lasts, sign = -1.0, np.zeros(2), np.zeros(2)
    exposing, gathered, wanted = True, [], round(how["exposure_s"] / (t[1] - t[0]))
    for i in range(t.size):
        now = t[i]
        if not exposing and now >= begins + lasts.max() - 1e-9:
            exposing, gathered = True, []
        shown[:, i] = paths[:, i] + wheel
        if exposing:
            gathered.append(shown[:, i] + air[:, i])
        for j in range(fine):
            low, high = now + j * h, now + (j + 1) * h
            run = np.clip(np.minimum(high, begins + lasts) - np.maximum(low, begins), 0, None)
            motor = motor + sign * speed * run
            wheel = np.clip(wheel, motor - half_play, motor + half_play)
        if exposing and len(gathered) == wanted:
            place = np.mean(gathered, axis=0)
            move = np.where(np.abs(place) >= how["minimum_move_arcsec"], -how["aggressiveness"] * place, 0.0)
            if how["directions"] != "both":
                move[1] = {"north only": max(move[1], 0), "south only": min(move[1], 0), "off": 0}[
                    how["directions"]
                ]
            lasts, sign = np.minimum(np.abs(move) / speed, how["longest_pulse_s"]), np.sign(move)
            begins, exposing = t[i] + (t[1] - t[0]) + how["dead_time_s"], False
    return shown


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"backlash_arcsec": 4.0, "aggressiveness": 0.9},
        {"backlash_arcsec": 25.0, "dec_deg": 40.0, "dead_time_s": 0.35},
        {"minimum_move_arcsec": 0.5, "dec_deg": -60.0},
        {"longest_pulse_s": 0.1, "guide_speed": 0.25},
        {"directions": "north only", "backlash_arcsec": 4.0},
        {"directions": "south only", "exposure_s": 0.5, "dead_time_s": 0.0},
        {"directions": "off"},
    ],
)
def test_run_is_the_mount_moved_step_by_step(how):
    """Derivation: the loop by brute force, gears, drift, air, play and all; the paths agree to a millionth of ″."""
    how = CALM | how
    random = np.random.default_rng(3)
    air = 0.6 * random.standard_normal((2, T.size))
    paths = np.stack([10 * np.sin(T / 67) + 3 * np.sin(T / 33), 0.5 * np.sin(T / 20) - 0.015 * T])
    found = servo.guide(**night(*paths, air=air), **how)
    wanted = stepped(paths, air, how)
    np.testing.assert_allclose(found.ra_arcsec, wanted[0], atol=1e-6)
    np.testing.assert_allclose(found.dec_arcsec, wanted[1], atol=1e-6)


def test_a_steady_drift_is_left_by_a_known_lag():
    """Derivation: e = v (T/g + dead/2) in the mean; pulses are short, 40 ms in a cycle of 3 s: 5 %."""
    for gain in (0.3, 0.6, 1.0):
        run = servo.guide(**night(ra=0.05 * T), **CALM | {"aggressiveness": gain})
        mean = run.ra_arcsec[T > 200].mean()
        assert mean == pytest.approx(0.05 * (3 / gain + 0.5), rel=0.05)
        assert mean > 0  # the mount stays east of where it should be when it runs east


def test_noise_moves_the_mount_by_the_known_share():
    """Derivation: σ √(g/(2 − g)) for noise that is new in each exposure; 2,700 exposures: 5 %."""
    t = np.arange(0, 8000, 0.1)
    for gain in (0.2, 0.6, 1.0):
        how = CALM | {"aggressiveness": gain, "centroid_sigma_arcsec": 0.5}
        run = servo.guide(**night(t=t), **how)
        for path in (run.ra_arcsec, run.dec_arcsec):
            assert path[t > 100].std() == pytest.approx(0.5 * np.sqrt(gain / (2 - gain)), rel=0.07)
    assert abs(np.corrcoef(run.ra_arcsec, run.dec_arcsec)[0, 1]) < 0.1


def test_frames_tell_when_and_what_was_seen():
    """Derivation: a still mount 1″ off: first frame after 2 s sees 1″, the correction takes away 0.6″."""
    run = servo.guide(**night(ra=1.0, dec=-1.0), **CALM)
    assert run.frames_s[0] == pytest.approx(2.0)
    assert (run.seen_ra_arcsec[0], run.seen_dec_arcsec[0]) == (pytest.approx(1), pytest.approx(-1))
    pulse = 0.6 / (0.5 * RATE)
    assert run.pulse_ra_s[0] == pytest.approx(-pulse)
    assert run.pulse_dec_s[0] == pytest.approx(pulse)
    assert run.seen_ra_arcsec[1] == pytest.approx(0.4)
    moved = T >= 3.2
    assert run.ra_arcsec[~moved][:30] == pytest.approx(1)
    assert run.ra_arcsec[moved][0] == pytest.approx(0.4)
    assert np.abs(run.ra_arcsec[-1]) < 1e-6
    assert run.frames_s[1] - run.frames_s[0] == pytest.approx(3.1)  # 2 s, 1 s and a pulse within one step


def test_play_swallows_the_first_push_only():
    """Derivation: play of 2″, the gear in its middle: the first push north loses 1″, the way back 2″."""
    for wanted, out, gap in [((1.5, -2.5, -1.0, 0.5, 1.0), (0.5, -0.5, -1.0, 0.0, 0.0), 1.5)]:
        at, found = 1.0, []
        for move in wanted:
            moved, at = servo._through_play(move, at, 2.0)
            found.append(moved)
        np.testing.assert_allclose(found, out, atol=1e-12)
        assert at == pytest.approx(gap)


def test_same_seed_same_night():
    noisy = CALM | {"centroid_sigma_arcsec": 0.3}
    one, two = (servo.guide(**night(ra=np.sin(T)), **noisy) for _ in range(2))
    np.testing.assert_array_equal(one.ra_arcsec, two.ra_arcsec)
    other = servo.guide(**night(ra=np.sin(T)), **noisy | {"seed": 2})
    assert (other.ra_arcsec != one.ra_arcsec).any()


def test_by_hand_the_answer_comes_late():
    """Derivation: a press of 0.2 s at 10 s west takes 1.504″ away between 11.0 and 11.2 s, not before."""
    run = servo.guide_by_hand(
        **night(ra=2.0), press_s=[10], press_ra_s=[-0.2], press_dec_s=[0], **HAND | {"exposure_s": 1}
    )
    gone = 0.2 * 0.5 * RATE
    np.testing.assert_allclose(run.ra_arcsec[T <= 11.0], 2)
    np.testing.assert_allclose(run.ra_arcsec[T >= 11.2 - 1e-9], 2 - gone)
    middle = np.argmin(np.abs(T - 11.1))
    assert run.ra_arcsec[middle] == pytest.approx(2 - gone / 2)
    assert run.seen_ra_arcsec[10] == pytest.approx(2)  # the frame of 10 to 11 s
    assert run.seen_ra_arcsec[12] == pytest.approx(2 - gone)
    assert run.pulse_ra_s[10] == pytest.approx(-0.2)
    assert run.pulse_ra_s.sum() == pytest.approx(-0.2)
    np.testing.assert_array_equal(run.dec_arcsec, 0)


def test_by_hand_presses_queue_and_play_counts():
    """Derivation: two presses at once last as long as both; 3″ of play in declination swallow 1.5″ of the first."""
    run = servo.guide_by_hand(
        **night(),
        press_s=[10, 10],
        press_ra_s=[0.3, 0.3],
        press_dec_s=[0.5, -0.5],
        **HAND | {"backlash_arcsec": 3.0},
    )
    speed = 0.5 * RATE
    assert run.ra_arcsec[np.argmin(np.abs(T - 11.3))] == pytest.approx(0.3 * speed)
    assert run.ra_arcsec[-1] == pytest.approx(0.6 * speed)
    assert run.dec_arcsec[np.argmin(np.abs(T - 11.5))] == pytest.approx(0.5 * speed - 1.5)
    assert run.dec_arcsec[-1] == pytest.approx(0.5 * speed - 1.5 - (0.5 * speed - 3.0))
    at_60 = servo.guide_by_hand(
        **night(), press_s=[10], press_ra_s=[0.3], press_dec_s=[0.3], **HAND | {"dec_deg": 60}
    )
    assert at_60.ra_arcsec[-1] == pytest.approx(0.15 * speed)
    assert at_60.dec_arcsec[-1] == pytest.approx(0.3 * speed)


def test_by_hand_the_presses_of_a_controller_give_its_path():
    """Derivation: the pulses of a run, pressed by hand without dead time at their own moments, move the same mount."""
    path = 5 * np.sin(T / 60)
    run = servo.guide(**night(ra=path, dec=0.3 * path), **CALM | {"backlash_arcsec": 1.0})
    again = servo.guide_by_hand(
        **night(ra=path, dec=0.3 * path), press_s=run.frames_s + 1.0, press_ra_s=run.pulse_ra_s,
        press_dec_s=run.pulse_dec_s, **HAND | {"dead_time_s": 0.0, "backlash_arcsec": 1.0},
    )  # fmt: skip
    np.testing.assert_allclose(again.ra_arcsec, run.ra_arcsec, atol=1e-9)
    np.testing.assert_allclose(again.dec_arcsec, run.dec_arcsec, atol=1e-9)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"times_s": T**2}, "times_s must rise in even steps"),
        ({"ra_arcsec": np.zeros(3)}, r"need 6000 values each .* received the shapes \(3,\)"),
        ({"air_arcsec": np.zeros(6000)}, r"two rows of them, received the shapes .* and \(6000,\)"),
        (
            {"exposure_s": 0.01},
            r"exposure_s must be 0\.1 s, the step of the times, or more, received 0\.01 s",
        ),
        ({"dead_time_s": -1}, "dead_time_s must be 0 or more s"),
        ({"aggressiveness": 1.2}, r"aggressiveness must be 0 to 1, received 1\.2"),
        ({"minimum_move_arcsec": -1}, "minimum_move_arcsec must be 0 or more ″"),
        ({"longest_pulse_s": 0}, "longest_pulse_s must be above 0 s"),
        ({"guide_speed": 0}, "guide_speed must be above 0, received 0"),
        ({"dec_deg": 88}, "dec_deg must be -85 to 85 °"),
        ({"backlash_arcsec": -1}, "backlash_arcsec must be 0 or more ″"),
        ({"centroid_sigma_arcsec": -1}, "centroid_sigma_arcsec must be 0 or more ″"),
        (
            {"directions": "up"},
            "directions must be one of 'both', 'north only', 'south only', 'off', received 'up'",
        ),
    ],
)
def test_errors(changed, words):
    with pytest.raises(ValueError, match=words):
        servo.guide(**night() | CALM | changed)


def test_errors_of_hand_and_pulse():
    with pytest.raises(
        ValueError, match="press_s must rise, with one press_ra_s and one press_dec_s for each"
    ):
        servo.guide_by_hand(**night(), press_s=[2, 1], press_ra_s=[1, 1], press_dec_s=[0, 0], **HAND)
    with pytest.raises(ValueError, match="press_s must rise"):
        servo.guide_by_hand(**night(), press_s=[2], press_ra_s=[1, 1], press_dec_s=[0], **HAND)
    assert_broadcasts(servo.pulse_s, move_arcsec=1, guide_speed=0.5, dec_deg=30)
    with pytest.raises(ValueError, match="dec_deg must be -89 to 89 °"):
        servo.pulse_s(move_arcsec=1, guide_speed=0.5, dec_deg=90)
