"""Stacks of files: bad ones named with their card, left out or the end of the job; nothing overwritten."""

import numpy as np
import pytest
from astropy.io import fits

from workbook import frames
from workbook.frames import (
    Frame,
    FrameFileError,
    known_shift,
    read_frame,
    stack_files,
    write_frame,
    write_stack,
)

SHIFTS = ((0.0, 0.0), (3.0, -2.0), (-4.0, 5.0), (1.0, 6.0))
HOW = {"method": "mean", "resampling": "whole pixels"}
CAMERA = {"read_noise_e": 1.6, "gain_e_adu": 0.8, "offset_adu": 500, "full_well_e": 13000, "adc_bits": 14}


def made(number, *, mosaic="", width=240, height=160, **change):
    """One sub of a fixed field, shifted by whole pixels."""
    rng = np.random.default_rng(5)
    x, y = rng.uniform(0, 240, 60), rng.uniform(0, 160, 60)
    light = 10 ** rng.uniform(0.8, 2.2, 60)
    frame = frames.raw_frame(
        sensor=frames.Sensor(width_px=width, height_px=height, mosaic=mosaic, **CAMERA),
        exposure_s=30,
        x_px=x + SHIFTS[number][0],
        y_px=y + SHIFTS[number][1],
        star_e_s=light,
        shapes=frames.round_shapes_px2(sigma_px=1.5),
        sky_e_s_px=2.0,
        dark_e_s_px=0.1,
        seed=number,
        sky_colours=(1.0, 1.5, 0.7),
    )
    known = {name: getattr(frame, name) for name in Frame.__dataclass_fields__}
    return Frame(**known | {"filter_name": "V"} | change)


@pytest.fixture
def good(tmp_path):
    return [write_frame(tmp_path / f"sub{n}.fits", made(n), overwrite=False) for n in range(4)]


def with_card(path, card, text):
    """The file with one card replaced, byte by byte, as a careless hand would."""
    raw = path.read_bytes()
    start = raw.index(card.ljust(8).encode())
    path.write_bytes(raw[:start] + f"{card:<8}= {text}".ljust(80).encode() + raw[start + 80 :])
    return path


def spoil(path, kind):
    """One bad file of each kind, in the place of a good one."""
    frame = read_frame(path)
    known = {name: getattr(frame, name) for name in Frame.__dataclass_fields__}
    change = {
        "size": {"adu": frame.adu[:-10]},
        "filter": {"filter_name": "R"},
        "exposure": {"exposure_s": 31.0},
        "gain": {"gain_e_adu": 1.6},
        "mosaic": {"mosaic": "RGGB"},
    }
    if kind in change:
        write_frame(path, Frame(**known | change[kind]), overwrite=True)
    elif kind == "short":
        path.write_bytes(path.read_bytes()[:40_000])
    elif kind == "comma":
        with_card(path, "XPOSURE", "30,0")
    elif kind == "quoted comma":
        with_card(path, "XPOSURE", "'30,0'")
    elif kind == "zero point":
        with_card(path, "BZERO", "100")
    elif kind == "scale":
        with_card(path, "BSCALE", "2")
    elif kind == "lost zero point":
        fits.PrimaryHDU(
            frame.adu.astype(int).astype(np.int16) - 9000, fits.Header({"EXPTIME": 30.0})
        ).writeto(path, overwrite=True)
    elif kind == "planes":
        fits.PrimaryHDU(np.stack([frame.adu] * 3), fits.Header({"EXPTIME": 30.0})).writeto(
            path, overwrite=True
        )
    elif kind == "no time":
        fits.PrimaryHDU(frame.adu).writeto(path, overwrite=True)
    elif kind == "silent mosaic":
        colour = made(2, mosaic="RGGB")
        write_frame(path, Frame(**known | {"adu": colour.adu}), overwrite=True)
    elif kind == "dark":
        rng = np.random.default_rng(1)
        write_frame(
            path,
            Frame(**known | {"adu": rng.normal(500, 3, frame.adu.shape).astype(np.uint16)}),
            overwrite=True,
        )
    else:
        path.unlink()


KINDS = {
    "size": r"sub2\.fits has another size \(NAXIS1 = 240, NAXIS2 = 150; the first has 240 × 160 px\)",
    "filter": r"sub2\.fits has FILTER = 'R', the first 'V'",
    "exposure": r"sub2\.fits has XPOSURE \(EXPTIME\) = 31 s, the first 30 s",
    "gain": r"sub2\.fits has GAIN = 1\.6, the first 0\.8",
    "mosaic": r"sub2\.fits is a colour mosaic \(MOSAIC = RGGB\): choose which pixels",
    "short": r"sub2\.fits cannot be read .*: is it a raw frame in FITS, copied whole",
    "comma": r"sub2\.fits says no exposure time: XPOSURE = '30,0' has a decimal comma.*write 30\.0",
    "quoted comma": r"sub2\.fits says no exposure time: XPOSURE = '30,0' has a decimal comma.*write 30\.0",
    "zero point": r"sub2\.fits holds float32, not counts .*BZERO = 100, BSCALE = 1",
    "scale": r"sub2\.fits holds float32, not counts .*BZERO = 32768, BSCALE = 2",
    "lost zero point": r"sub2\.fits holds int16, .* but -\d+ \(is the card BZERO = 32768 lost\?\)",
    "planes": r"sub2\.fits holds a picture with 3 axes, .*\(NAXIS3 = 3 planes\)",
    "no time": r"sub2\.fits says no exposure time \(XPOSURE or EXPTIME",
    "silent mosaic": r"sub2\.fits looks like a colour mosaic .* has no card MOSAIC",
    "dark": r"sub2\.fits: .*(too few to align|stars agree)",
    "gone": r"there is no file sub2\.fits",
}


@pytest.mark.parametrize("kind", KINDS)
def test_one_bad_file(good, kind, tmp_path):
    """Derivation: the line names file and card; "stop" ends there, "skip" gives the stack of the other three."""
    spoil(good[2], kind)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises((FrameFileError, FileNotFoundError, frames.AlignmentError), match=KINDS[kind]):
        stack_files(good, on_fault="stop", **HOW)
    job = stack_files(good, on_fault="skip", **HOW)
    assert [path.name for path in job.used] == ["sub0.fits", "sub1.fits", "sub3.fits"]
    assert len(job.faults) == 1
    with pytest.raises(AssertionError, match=KINDS[kind]):
        raise AssertionError(job.faults[0])
    assert job.stack.coverage.max() == 3
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_files_and_arrays_give_the_same(good):
    """Derivation: the same subs by stack_subs, held in memory; and shifts as the maker gave them, 0.05 px."""
    told = []
    job = stack_files(good, on_fault="stop", progress=lambda *what: told.append(what), **HOW)
    assert told[0] == ("checked and aligned", 1, 4)
    assert told[-1] == ("stacked", 3, 3)
    for alignment, (x, y) in zip(job.stack.alignments, SHIFTS, strict=True):
        assert (alignment.shift_x_px, alignment.shift_y_px) == pytest.approx((x, y), abs=0.05)
    known = [known_shift(shift_x_px=x, shift_y_px=y) for x, y in SHIFTS]
    by_hand = frames.stack_subs([read_frame(path).adu for path in good], alignments=known, **HOW)
    given = stack_files(good, on_fault="stop", alignments=known, **HOW)
    np.testing.assert_allclose(given.stack.light_adu, by_hand.light_adu, rtol=1e-6)
    assert (job.faults, job.colour, job.first.exposure_s) == ((), "", 30.0)


@pytest.mark.parametrize(("colour", "part"), [("R", 1.0), ("G", 1.5), ("B", 0.7), ("all", 4.7 / 4)])
def test_colours_of_a_mosaic(tmp_path, colour, part):
    """Derivation: sky 2 e⁻/s/px times part/(4.7/4), 30 s, dark 3 e⁻, over 0.8, above 500; 1 ADU: skew and stars."""
    paths = [write_frame(tmp_path / f"c{n}.fits", made(n, mosaic="RGGB"), overwrite=False) for n in range(3)]
    shifts = [known_shift(shift_x_px=x / 2, shift_y_px=y / 2) for x, y in SHIFTS[:3]]
    job = stack_files(paths, on_fault="stop", alignments=shifts, colour=colour, **HOW)
    assert job.stack.light_adu.shape == (80, 120)
    light = frames.clipped_statistics(job.stack.light_adu, clip_sigmas=3.0).median_adu
    assert light == pytest.approx(500 + (60 * part / (4.7 / 4) + 3) / 0.8, abs=1.5)
    silent = Frame(adu=read_frame(paths[0]).adu, exposure_s=30.0)
    alone = write_frame(tmp_path / "silent.fits", silent, overwrite=False)
    with pytest.raises(FrameFileError, match=r"silent\.fits says no colour mosaic \(MOSAIC\)"):
        stack_files([alone], on_fault="stop", colour=colour, alignments=shifts[:1], **HOW)
    again = stack_files([alone], on_fault="stop", colour=colour, mosaic="RGGB", alignments=shifts[:1], **HOW)
    assert again.stack.light_adu.shape == (80, 120)


def test_no_file_left_and_wrong_words(good):
    for path in good:
        spoil(path, "no time")
    with pytest.raises(FrameFileError, match=r"no file is left to stack: sub0\.fits .*; sub3\.fits"):
        stack_files(good, on_fault="skip", **HOW)
    with pytest.raises(FrameFileError, match="the list is empty"):
        stack_files([], on_fault="skip", **HOW)
    with pytest.raises(ValueError, match="on_fault must be one of 'stop', 'skip', received 'go on'"):
        stack_files(good, on_fault="go on", **HOW)
    with pytest.raises(ValueError, match="one alignment for each file: received 4 files, 1 alignments"):
        stack_files(good, on_fault="skip", alignments=[known_shift(shift_x_px=0, shift_y_px=0)], **HOW)


def test_stack_as_a_file(good, tmp_path, monkeypatch):
    """Source: astropy's reading and verification; an existing file stays, byte for byte."""
    spoil(good[1], "filter")
    job = stack_files(good, on_fault="skip", **HOW)
    path = write_stack(tmp_path / "stack.fits", job, on_exists="refuse")
    with fits.open(path) as units:
        units.verify("exception")
        assert [unit.name for unit in units] == ["PRIMARY", "NOISE", "COVERAGE", "REJECTED"]
        np.testing.assert_array_equal(units[0].data, job.stack.light_adu)
        np.testing.assert_array_equal(units["COVERAGE"].data, job.stack.coverage)
        np.testing.assert_array_equal(units["NOISE"].data, job.stack.noise_adu)
        header = units[0].header
        assert (header["NCOMBINE"], header["XPOSURE"], header["FILTER"]) == (3, 30.0, "V")
        assert "sub1.fits has FILTER = 'R'" in str(header["HISTORY"]).replace("\n", "")
    kept = path.read_bytes()
    with pytest.raises(
        FileExistsError, match=r"stack\.fits exists already: choose another name, or let it be"
    ):
        write_stack(path, job, on_exists="refuse")
    assert write_stack(path, job, on_exists="number").name == "stack-2.fits"
    assert write_stack(path, job, on_exists="number").name == "stack-3.fits"

    def full_disk(*args, **kwargs):
        raise OSError("no space left")

    monkeypatch.setattr(fits.HDUList, "writeto", full_disk)
    with pytest.raises(OSError, match="no space left"):
        write_stack(path, job, on_exists="number")
    assert path.read_bytes() == kept
    assert sorted(each.name for each in tmp_path.glob("*stack*")) == [
        "stack-2.fits",
        "stack-3.fits",
        "stack.fits",
    ]


@pytest.mark.parametrize("text", ["0,8", "'0,8'", "high"])
def test_odd_cards_beside_the_exposure_are_not_known(good, text):
    """A gain that is no number reads as none, and does not stop the frame."""
    assert read_frame(with_card(good[0], "GAIN", text)).gain_e_adu is None


@pytest.mark.parametrize("sigma_px", [0.7, 1.4])
def test_sharp_stars_of_a_colour_camera_are_aligned(tmp_path, sigma_px):
    """Derivation: frames drawn with known shifts and a turn; stars of 0.7 px fill hardly one pixel of each colour.

    0.05 px of the half-size picture: places of stars on a mosaic are good to 0.1 px of the raw frame.
    """
    dice = np.random.default_rng(8)
    x, y = dice.uniform(20, 460, 60), dice.uniform(20, 300, 60)
    light = dice.uniform(800.0, 9000.0, 60)
    known = [(0.0, 0.0, 0.0), (6.4, -3.2, 0.0), (-9.0, 5.0, 0.4)]
    paths = []
    for number, (right, up, turn_deg) in enumerate(known):
        moved = frames.Alignment(right, up, turn_deg, 239.5, 159.5).places(x, y)
        frame = frames.raw_frame(
            sensor=frames.Sensor(width_px=480, height_px=320, mosaic="RGGB", **CAMERA),
            exposure_s=30.0, x_px=moved[0], y_px=moved[1], star_e_s=light / 30.0,
            shapes=frames.round_shapes_px2(sigma_px=sigma_px), sky_e_s_px=1.9, dark_e_s_px=0.05,
            sky_colours=(1.0, 1.5, 0.7), seed=40 + number,
        )  # fmt: skip
        paths.append(write_frame(tmp_path / f"s{number}.fits", frame, overwrite=False))
    job = stack_files(paths, on_fault="stop", colour="G", method="mean", resampling="bilinear")
    assert not job.faults
    for found, (right, up, turn_deg) in zip(job.stack.alignments[1:], known[1:], strict=True):
        assert found.shift_x_px == pytest.approx(right / 2, abs=0.05)
        assert found.shift_y_px == pytest.approx(up / 2, abs=0.05)
        assert found.turn_deg == pytest.approx(turn_deg, abs=0.03)
        assert (found.centre_x_px, found.centre_y_px) == (119.5, 79.5)
