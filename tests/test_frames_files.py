"""Frames as FITS files: the standard's own words, and clear errors on bad files."""

from datetime import UTC, datetime, timedelta, timezone

import astropy
import numpy as np
import pytest
from astropy.io import fits
from astropy.time import Time
from astropy.wcs import WCS
from support import assert_row, rows

from workbook.frames import Frame, FrameFileError, Pointing, read_frame, write_frame

ROWS = rows("stars.csv")
POINTING = Pointing(
    ra_deg=10.7, dec_deg=41.3, scale_arcsec_px=2.2, position_angle_deg=30, x_px=499.5, y_px=388
)


def frame(**change):
    counts = np.random.default_rng(1).integers(0, 65536, (777, 1000)).astype(np.uint16)
    known = {
        "adu": counts,
        "exposure_s": 30.5,
        "gain_e_adu": 0.8,
        "read_noise_e": 1.6,
        "saturation_adu": 16383,
        "mosaic": "RGGB",
        "start": datetime(2026, 11, 2, 20, 15, 30, 250_000, tzinfo=timezone(timedelta(hours=1))),
        "target": "NGC 224",
        "world_coordinates": POINTING.world_coordinates(),
        "remarks": ("fainter than G = 10 the stars are synthetic",),
    }
    return Frame(**known | change)


def test_what_is_written_is_read(tmp_path):
    first = frame()
    back = read_frame(write_frame(tmp_path / "a.fits", first, overwrite=False))
    np.testing.assert_array_equal(back.adu, first.adu)
    assert back.adu.dtype == np.uint16
    for name in ("exposure_s", "gain_e_adu", "read_noise_e", "saturation_adu", "mosaic", "target"):
        assert getattr(back, name) == getattr(first, name), name
    assert back.start == first.start
    assert back.start.tzinfo == UTC
    assert back.world_coordinates == pytest.approx(first.world_coordinates)
    assert first.remarks[0] in back.remarks
    plain = Frame(adu=np.zeros((3, 4), np.uint16), exposure_s=0.0)
    again = read_frame(write_frame(tmp_path / "b.fits", plain, overwrite=False))
    assert (again.gain_e_adu, again.start, again.mosaic, again.remarks) == (None, None, "", ())


def test_file_keeps_to_the_standard(tmp_path):
    """Against reference rows DAT-01 and DAT-04; astropy's verification, time and world coordinates."""
    path = write_frame(
        tmp_path / "a.fits", frame(world_coordinates={}, remarks=(), mosaic=""), overwrite=False
    )
    assert_row(ROWS["DAT-01"], path.stat().st_size)
    with fits.open(path, do_not_scale_image_data=True) as units:
        assert_row(ROWS["DAT-04"], units[0].header["BZERO"])
        assert (units[0].header["BITPIX"], units[0].header["BUNIT"]) == (16, "adu")
    path = write_frame(tmp_path / "b.fits", frame(), overwrite=False)
    with fits.open(path) as units:
        units.verify("exception")
        header = units[0].header
        assert header["XPOSURE"] == header["EXPTIME"] == 30.5
        assert Time(header["DATE-OBS"], scale="utc").isot == "2026-11-02T19:15:30.250"
        np.testing.assert_allclose(
            header["MJD-OBS"], Time(header["DATE-OBS"], scale="utc").mjd, rtol=0, atol=1e-8
        )
        assert "MOSAIC is no keyword of the FITS standard" in str(header["COMMENT"])
        assert WCS(header).wcs.ctype[0] == "RA---TAN"
        assert (header["NAXIS1"], header["NAXIS2"]) == (1000, 777)


def test_no_file_is_lost(tmp_path, monkeypatch):
    path = write_frame(tmp_path / "a.fits", frame(), overwrite=False)
    with pytest.raises(
        FileExistsError, match=r"a\.fits exists already: choose another name, or allow overwrite"
    ):
        write_frame(path, frame(exposure_s=1.0), overwrite=False)
    write_frame(path, frame(exposure_s=2.0), overwrite=True)
    assert read_frame(path).exposure_s == 2.0

    def full_disk(*args, **kwargs):
        raise OSError("no space left")

    monkeypatch.setattr(astropy.io.fits.PrimaryHDU, "writeto", full_disk)
    with pytest.raises(OSError, match="no space left"):
        write_frame(path, frame(exposure_s=3.0), overwrite=True)
    monkeypatch.undo()
    assert read_frame(path).exposure_s == 2.0
    assert [each.name for each in tmp_path.iterdir()] == ["a.fits"]


def broken(path, kind):
    if kind == "text":
        path.write_text("this is a note, not a picture\n" * 200)
    elif kind == "empty":
        path.write_bytes(b"")
    elif kind == "short":
        write_frame(path, frame(), overwrite=True)
        path.write_bytes(path.read_bytes()[:400_000])
    elif kind == "table":
        fits.HDUList([fits.PrimaryHDU(), fits.BinTableHDU(np.zeros(3, [("a", "f8")]))]).writeto(path)
    elif kind == "cube":
        fits.PrimaryHDU(np.zeros((3, 4, 5), np.uint16)).writeto(path)
    elif kind == "float":
        fits.PrimaryHDU(np.ones((4, 5))).writeto(path)
    elif kind == "negative":
        fits.PrimaryHDU(np.full((4, 5), -3, np.int16)).writeto(path)
    elif kind == "no time":
        fits.PrimaryHDU(np.ones((4, 5), np.uint16)).writeto(path)
    else:
        fits.PrimaryHDU(np.ones((4, 5), np.uint16), fits.Header({"EXPTIME": "long"})).writeto(path)


@pytest.mark.parametrize(
    ("kind", "message"),
    [
        ("text", "x.fits cannot be read .*: is it a raw frame in FITS, copied whole"),
        ("empty", "x.fits cannot be read .*: is it"),
        ("short", "x.fits cannot be read .*: is it"),
        ("table", "x.fits holds no picture, not one raw frame"),
        ("cube", "x.fits holds a picture with 3 axes, not one raw frame"),
        ("float", "x.fits holds float64, not counts from 0 to 65,535"),
        ("negative", "x.fits holds int16, not counts from 0 to 65,535"),
        ("no time", r"x.fits says no exposure time \(XPOSURE or EXPTIME, in seconds\), but None: add it"),
        ("words", "no exposure time .* but 'long'"),
    ],
)
def test_bad_files_are_named(tmp_path, kind, message):
    path = tmp_path / "x.fits"
    broken(path, kind)
    with pytest.raises(FrameFileError, match=message):
        read_frame(path)


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(FileNotFoundError, match=r"there is no file gone\.fits in"):
        read_frame(tmp_path / "gone.fits")


def test_by_custom_alone(tmp_path):
    """EXPTIME without XPOSURE, and foreign words of the wrong kind, are read for what they are."""
    path = tmp_path / "x.fits"
    header = fits.Header({"EXPTIME": 12, "GAIN": "high", "MOSAIC": "none", "DATE-OBS": "yesterday"})
    fits.PrimaryHDU(np.ones((4, 5), np.int16), header).writeto(path)
    read = read_frame(path)
    assert (read.exposure_s, read.gain_e_adu, read.mosaic, read.start) == (12.0, None, "", None)


@pytest.mark.parametrize(
    ("change", "error", "message"),
    [
        ({"adu": np.zeros((3, 4))}, TypeError, "uint16., received 2 axes of float64"),
        ({"adu": np.zeros(3, np.uint16)}, TypeError, "received 1 axes of uint16"),
        ({"exposure_s": -1}, ValueError, "exposure_s must be 0 or more s"),
        ({"mosaic": "X"}, ValueError, "mosaic must be one of"),
        ({"start": datetime(2026, 1, 1)}, ValueError, "start must have a time zone"),
    ],
)
def test_impossible_frames(change, error, message):
    with pytest.raises(error, match=message):
        frame(**change)
