"""Frames on their way: sizes, transfer, a link timed, and the radio beside a fast cable."""

import numpy as np
import pytest
from support import assert_broadcasts, assert_row, rows

import workbook.link.data as data
import workbook.link.radio as radio
import workbook.link.rate as rate
from workbook import link

ROWS = rows("data.csv")
FILES = rows("stars.csv")
NIGHT = rows("light.csv")
FRAME = {"width_px": 1000, "height_px": 777, "bits": 16, "header_cards": 6}
SPAN = {"span_s": 14400.0, "sub_s": 60.0, "overhead_s": 5.0}
MOVE = {"sent_bytes": 52188480.0, "rate_mbit_s": 480.0, "efficiency": 1.0}
SLOW = {"one_frame_bytes": 22.4e6, "rate_mbit_s": 5.0, "sub_s": 20.0, "overhead_s": 5.0, "span_s": 14400.0}
CHANNELS = {"centre_mhz": 2412, "width_mhz": 20, "other_centre_mhz": 2422, "other_width_mhz": 20}


# Data


def test_frame():
    """Source: reference rows DAT-01 and DAT-03; a 37th line opens another block of the header."""
    small = data.frame_bytes(**FRAME)
    assert_row(FILES["DAT-01"], small)
    assert_row(ROWS["DAT-03"], data.frame_bytes(width_px=6248, height_px=4176, bits=16, header_cards=36))
    assert data.frame_bytes(**FRAME | {"header_cards": 37}) - small == 2880
    assert_row(
        ROWS["DAT-09"], data.frame_bytes(width_px=6248, height_px=4176, bits=16, header_cards=9) / 2**20
    )


def test_night():
    """Source: reference rows DAT-07 (frames) and DAT-08 (data)."""
    assert_row(NIGHT["DAT-07"], data.frames_in_span(**SPAN))
    assert_row(
        ROWS["DAT-08"],
        data.night_data_gb(one_frame_bytes=ROWS["DAT-03"]["expected"], frames=NIGHT["DAT-07"]["expected"]),
    )
    whole = data.frames_in_span(span_s=[65, 64.99, 0.3], sub_s=[60, 60, 0.1], overhead_s=[5, 5, 0])
    np.testing.assert_array_equal(whole, [1, 0, 3])  # 0.3/0.1 is 2.9999… in floats


def test_transfer():
    """Source: reference rows DAT-05 and DAT-06: bits over bits a second, and a coding of ten bits for eight."""
    assert_row(ROWS["DAT-05"], data.transfer_s(**MOVE))
    assert_row(ROWS["DAT-06"], data.transfer_s(**MOVE | {"rate_mbit_s": 5000, "efficiency": 0.8}))


def moved_by_queue(*, one_frame_bytes, rate_mbit_s, sub_s, overhead_s, span_s):
    """What waits at the end, by a queue that moves one frame after the other."""
    need_s = 8 * one_frame_bytes / (rate_mbit_s * 1e6)
    frames = int(span_s // (sub_s + overhead_s))
    free_s, sent = 0.0, 0.0
    for frame in range(frames):
        free_s = max(free_s, frame * (sub_s + overhead_s) + sub_s)
        sent += min(1.0, max(0.0, (span_s - free_s) / need_s))
        free_s += need_s
    return (frames - sent) * one_frame_bytes / 1e9


def test_backlog_against_a_queue():
    """Derivation: a queue, frame after frame; the same while the link never rests."""
    for rate_mbit_s in (1, 3, 5, 7):
        slow = SLOW | {"rate_mbit_s": rate_mbit_s}
        np.testing.assert_allclose(data.backlog_gb(**slow), moved_by_queue(**slow), rtol=1e-9)
    fast = data.backlog_gb(**SLOW | {"rate_mbit_s": 200})
    assert fast == pytest.approx(0.0224)  # the last frame
    assert data.backlog_gb(**SLOW | {"span_s": 10}) == 0  # not one frame
    assert data.backlog_gb(**SLOW | {"sub_s": 10}) > 1.5 * data.backlog_gb(**SLOW)  # short subs cost transfer


# Rates


def test_links():
    """Source: the standards' own rates as a ceiling: 480 Mbit/s, 5 Gbit/s with 8b/10b, 100 and 1000 Mbit/s."""
    for name, ceiling in [
        ("usb 2 cable", 480), ("usb 3 cable", 4000), ("100 mbit cable", 100), ("gigabit cable", 1000),
    ]:  # fmt: skip
        assert link.LINKS[name].high_mbit_s < ceiling
    for span in link.LINKS.values():
        assert 0 < span.low_mbit_s < span.central_mbit_s < span.high_mbit_s
    one_frame = {name: data.transfer_s(sent_bytes=22.4e6, rate_mbit_s=span.central_mbit_s, efficiency=1)
                 for name, span in link.LINKS.items()}  # fmt: skip
    assert one_frame["2.4 ghz radio"] > 5 > one_frame["usb 2 cable"]
    assert len(link.EXPERIMENT) == 5


def test_measured_rate():
    """Derivation: np.polyfit with its covariance on noisy timings; exact without noise."""
    sizes = np.array([5e6, 10e6, 20e6, 40e6, 40e6])
    exact = rate.measured_rate(sent_bytes=sizes, times_s=0.4 + 8 * sizes / 30e6)
    np.testing.assert_allclose(exact, (30, 0, 0.4), rtol=1e-9, atol=1e-6)
    times = 0.4 + 8 * sizes / 30e6 + np.array([0.3, -0.2, 0.1, 0.4, -0.3])
    fit, cover = np.polyfit(8 * sizes / 1e6, times, 1, cov=True)
    noisy = rate.measured_rate(sent_bytes=sizes, times_s=times)
    expected = (1 / fit[0], np.sqrt(cover[0, 0]) / fit[0] ** 2, fit[1])
    np.testing.assert_allclose(noisy, expected, rtol=1e-9)


def test_rate_change():
    """Derivation: Welch's variance of the logarithms by hand; no change where both series are alike."""
    before, after = np.array([40.0, 44, 38, 41]), np.array([20.0, 25, 18])
    change = rate.rate_change(before_mbit_s=before, after_mbit_s=after)
    ratio = (20 * 25 * 18) ** (1 / 3) / (40 * 44 * 38 * 41) ** (1 / 4)
    np.testing.assert_allclose(change.ratio, ratio, rtol=1e-12)
    variance = np.log(before).var() / 3 + np.log(after).var() / 2
    np.testing.assert_allclose(change.sigma, ratio * np.sqrt(variance), rtol=1e-12)
    assert change.differ
    same = rate.rate_change(before_mbit_s=before, after_mbit_s=before[::-1])
    assert (same.ratio, same.differ) == (pytest.approx(1), False)


# Radio


def test_channels():
    """Source: IEEE 802.11 (centres 2407 + 5 n MHz): 1 and 6 are free of each other, 1 and 3 share half."""
    centre = 2407 + 5 * np.array([1, 2, 3, 4, 5, 6])
    shares = radio.band_overlap(**CHANNELS | {"other_centre_mhz": centre})
    np.testing.assert_allclose(shares, [1, 0.75, 0.5, 0.25, 0, 0], rtol=1e-12)
    inside = radio.band_overlap(**CHANNELS | {"other_centre_mhz": 2415, "other_width_mhz": 2})
    np.testing.assert_allclose(inside, 0.1, rtol=1e-12)
    assert radio.band_overlap(**CHANNELS | {"width_mhz": 2, "centre_mhz": 2415}) == 1


def test_noise_of_a_data_cable():
    """Derivation: the spectrum of random square bits by Fourier transform, 400 runs of 512 bits; 0.3 dB."""
    random, steps = np.random.default_rng(5), 32
    bits = random.choice([-1.0, 1.0], (400, 512)).repeat(steps, axis=1)
    density = (np.abs(np.fft.rfft(bits, axis=1)) ** 2).mean(axis=0)
    frequency = np.fft.rfftfreq(bits.shape[1], 1 / steps) * 5000
    low = density[1:40].mean()
    for centre in (1200, 2440, 3500, 5800, 7500):
        near = np.abs(frequency - centre) < 60
        measured = 10 * np.log10(density[near].mean() / low)
        ours = radio.signal_noise_db(frequency_mhz=centre, rate_mbit_s=5000)
        np.testing.assert_allclose(ours, measured, rtol=0, atol=0.3)
    assert radio.signal_noise_db(frequency_mhz=5000, rate_mbit_s=5000) < -200
    assert radio.signal_noise_db(frequency_mhz=2440, rate_mbit_s=480) < -23


def test_path_loss():
    """Derivation: (λ/4πd)² with the speed of light, within the 0.05 dB of the rounded constant (ITU-R P.525)."""
    distance = np.array([1, 3, 10, 30.0])
    loss = radio.path_loss_db(distance_m=distance, frequency_mhz=2440)
    wave_m = 299_792_458 / 2.44e9
    np.testing.assert_allclose(loss, 20 * np.log10(4 * np.pi * distance / wave_m), rtol=0, atol=0.05)
    np.testing.assert_allclose(
        radio.path_loss_db(distance_m=20, frequency_mhz=2440) - loss[2], 20 * np.log10(2), rtol=1e-9
    )


# Shapes and errors


def test_shapes():
    assert_broadcasts(data.frame_bytes, **FRAME)
    assert_broadcasts(data.frames_in_span, **SPAN)
    assert_broadcasts(data.night_data_gb, one_frame_bytes=5e7, frames=200)
    assert_broadcasts(data.transfer_s, **MOVE)
    assert_broadcasts(data.backlog_gb, **SLOW)
    assert_broadcasts(radio.band_overlap, **CHANNELS)
    assert_broadcasts(radio.signal_noise_db, frequency_mhz=2440, rate_mbit_s=5000)
    assert_broadcasts(radio.path_loss_db, distance_m=10, frequency_mhz=2440)


TIMED = {"sent_bytes": [1e6, 2e6, 4e6], "times_s": [1, 2, 4]}
PAIR = {"before_mbit_s": [40, 41, 42], "after_mbit_s": [40, 41, 42]}
REFUSED = [
    (data.frame_bytes, FRAME, {"width_px": 0}, r"width_px must be above 0 px"),
    (data.frame_bytes, FRAME, {"bits": 0}, r"bits must be above 0, received 0: 8, 16 or 32"),
    (data.frame_bytes, FRAME, {"header_cards": 0}, r"header_cards must be above 0"),
    (data.frames_in_span, SPAN, {"sub_s": 0}, r"sub_s must be above 0 s"),
    (data.frames_in_span, SPAN, {"overhead_s": -1}, r"overhead_s must be 0 or more s"),
    (data.frames_in_span, SPAN, {"span_s": -1}, r"span_s must be 0 or more s"),
    (data.night_data_gb, {"frames": 3}, {"one_frame_bytes": 0}, r"one_frame_bytes must be above 0 bytes"),
    (data.night_data_gb, {"one_frame_bytes": 3}, {"frames": -1}, r"frames must be 0 or more"),
    (data.transfer_s, MOVE, {"efficiency": 80}, r"efficiency must be 0 to 1, received 80"),
    (data.transfer_s, MOVE, {"efficiency": 0}, r"efficiency must be above 0, .* never arrives"),
    (data.transfer_s, MOVE, {"rate_mbit_s": 0}, r"rate_mbit_s must be above 0 Mbit/s"),
    (data.transfer_s, MOVE, {"sent_bytes": -1}, r"sent_bytes must be above 0 bytes"),
    (data.backlog_gb, SLOW, {"rate_mbit_s": 0}, r"rate_mbit_s must be above 0 Mbit/s"),
    (rate.measured_rate, TIMED, {"sent_bytes": [1e6, 1e6, 1e6]}, r"of two sizes or more"),
    (rate.measured_rate, TIMED, {"times_s": [1, 2]}, r"must hold three copies or more"),
    (rate.measured_rate, TIMED, {"times_s": [4, 2, 1]}, r"times_s must grow with the size: .*cached"),
    (rate.rate_change, PAIR, {"after_mbit_s": [40, 41]}, r"after_mbit_s must hold three rates or more"),
    (rate.rate_change, PAIR, {"before_mbit_s": [40, 41, 0]}, r"before_mbit_s must be above 0 Mbit/s"),
    (radio.band_overlap, CHANNELS, {"width_mhz": 0}, r"width_mhz must be above 0 MHz"),
    (
        radio.signal_noise_db,
        {"frequency_mhz": 2440},
        {"rate_mbit_s": 0},
        r"rate_mbit_s must be above 0 Mbit/s",
    ),
    (radio.path_loss_db, {"frequency_mhz": 2440}, {"distance_m": 0.1}, r"distance_m must be 0.3 to 1e\+06 m"),
    (radio.path_loss_db, {"distance_m": 3}, {"frequency_mhz": 0}, r"frequency_mhz must be above 0 MHz"),
]


@pytest.mark.parametrize(("function", "good", "bad", "message"), REFUSED)
def test_errors(function, good, bad, message):
    with pytest.raises(ValueError, match=message):
        function(**good | bad)
