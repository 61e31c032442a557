"""The night and the catalogue need no network, and say no word, for every date of 2026 to 2040."""

import socket
import warnings
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest

from workbook import catalogue, night

FIRST, LAST = date(2026, 1, 1), date(2040, 12, 31)
DATES = [FIRST + timedelta(days=day) for day in range((LAST - FIRST).days + 1)]
LOOPBACK = ("127.", "::1", "localhost")
PLACE = {"latitude_deg": 50.0, "longitude_deg": 10.0}


class NetworkUsed(AssertionError):
    pass


@pytest.fixture
def offline(monkeypatch):
    """Every way out but the loopback raises."""

    def guard(original, host_of):
        def guarded(*args, **kwargs):
            host = str(host_of(args))
            if not host.startswith(LOOPBACK):
                raise NetworkUsed(f"reached for {host}")
            return original(*args, **kwargs)

        return guarded

    def address_host(args):
        address = args[-1]
        return address[0] if isinstance(address, tuple) else "localhost"  # a path of a local socket

    for way in ("connect", "connect_ex", "sendto"):
        monkeypatch.setattr(socket.socket, way, guard(getattr(socket.socket, way), address_host))
    for way in ("getaddrinfo", "gethostbyname", "create_connection"):
        host = (lambda args: args[0][0]) if way == "create_connection" else (lambda args: args[0])
        monkeypatch.setattr(socket, way, guard(getattr(socket, way), host))


def test_the_guard_itself_bites(offline):
    for reach in (
        lambda: socket.create_connection(("240.0.0.1", 80), timeout=0.1),  # reserved, leads nowhere
        lambda: socket.getaddrinfo("nowhere.invalid", 80),
    ):
        with pytest.raises(NetworkUsed):
            reach()
    with socket.socket() as out, pytest.raises(NetworkUsed):
        out.connect(("240.0.0.1", 80))
    with socket.socket() as server, socket.socket() as client:
        server.bind(("127.0.0.1", 0))
        server.listen()
        client.connect(server.getsockname())


def test_every_evening_has_its_window(offline):
    """At 50° north nights without astronomical darkness are those about the solstice, and only those."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        windows = [night.dark_window(**PLACE, date=evening) for evening in DATES]
    assert len(windows) == 5479
    dark = np.array([window is not None for window in windows])
    from_solstice = np.array([abs((evening - evening.replace(month=6, day=21)).days) for evening in DATES])
    assert dark[from_solstice > 25].all()
    assert not dark[from_solstice < 15].any()
    lengths = [window.end_utc - window.start_utc for window in windows if window]
    assert max(lengths) < timedelta(hours=13)
    for evening, window in zip(DATES, windows, strict=True):
        if window:
            middle = window.start_utc + (window.end_utc - window.start_utc) / 2
            midnight = datetime(evening.year, evening.month, evening.day, 23, 20, tzinfo=UTC)
            assert abs(middle - midnight) < timedelta(minutes=17)  # the equation of time


def test_every_evening_has_its_stars_sun_and_moon(offline):
    times = np.array(DATES, dtype="M8[D]") + np.timedelta64(21, "h")
    place = PLACE | {"height_m": 300.0}
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        m31 = catalogue.find("M 31")
        star = night.altaz(ra_deg=m31.ra_deg, dec_deg=m31.dec_deg, **place, times_utc=times)
        moon = night.moon(**place, times_utc=times)
        sun = night.sun(**place, times_utc=times)
        for each in (times[0], times[-1]):
            night.hour_angle_dec(ra_deg=10, dec_deg=41, **place, times_utc=each)
            night.sidereal_time_deg(longitude_deg=10, times_utc=each)
    for values in (*star, *moon, *sun):
        assert values.shape == times.shape
        assert np.isfinite(values).all()
    assert star.altitude_deg.max() < 82  # 90° less latitude plus declination
    assert star.altitude_deg.min() > 0.9  # and its lower culmination, the declination still growing
    assert (sun.altitude_deg < 1).all()
    before, lit, after = moon.lit_fraction[:-2], moon.lit_fraction[1:-1], moon.lit_fraction[2:]
    full_moons = np.sum((lit > before) & (lit >= after))
    assert full_moons == pytest.approx(len(DATES) / 29.530589, abs=1)  # mean synodic month, Meeus chapter 49
