"""Frames as FITS files, with the standard's own keywords.

From the standard: BUNIT, XPOSURE, DATE-OBS, MJD-OBS, TIMESYS, OBJECT, CREATOR and the world coordinates.
EXPTIME, GAIN, RDNOISE, SATURATE and FILTER are in no standard but understood by custom. For the colours of a mosaic
there is neither; they are written as a keyword of our own, MOSAIC, with a COMMENT that says what it means.
"""

from __future__ import annotations

import os
import tempfile
import warnings
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from workbook.checks import chosen, not_negative
from workbook.frames.camera import MOSAICS

CURE = "is it a raw frame in FITS, copied whole?"


class FrameFileError(ValueError):
    """A file that is no frame, or not a whole one."""


@dataclass(frozen=True)
class Frame:
    """One raw frame: counts [ADU] by row and column, exposure_s [s], and what is known about it.

    gain_e_adu [e⁻/ADU], read_noise_e [e⁻], saturation_adu [ADU], mosaic ("" for mono), start (an aware time),
    target, world_coordinates (FITS keywords), remarks in words, and filter_name. None or "" where not known.
    """

    adu: np.ndarray
    exposure_s: float
    gain_e_adu: float | None = None
    read_noise_e: float | None = None
    saturation_adu: int | None = None
    mosaic: str = ""
    start: datetime | None = None
    target: str = ""
    world_coordinates: dict = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    filter_name: str = ""

    def __post_init__(self):
        if np.ndim(self.adu) != 2 or np.asarray(self.adu).dtype != np.uint16:
            kind = f"{np.ndim(self.adu)} axes of {np.asarray(self.adu).dtype}"
            raise TypeError(f"adu must be a picture of 16-bit counts without sign (uint16), received {kind}")
        not_negative("exposure_s", self.exposure_s)
        chosen("mosaic", self.mosaic, MOSAICS)
        if self.start is not None and self.start.tzinfo is None:
            raise ValueError(f"start must have a time zone, received {self.start}: add tzinfo=datetime.UTC")


def write_frame(path, frame: Frame, *, overwrite: bool) -> Path:
    """Write a frame as a FITS file, whole or not at all.

    Parameters
    ----------
    path : str or Path
        The file.
    frame : Frame
        What to write.
    overwrite : bool
        Whether a file of that name may be replaced.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    FileExistsError
        If the file exists and may not be replaced.

    Notes
    -----
    16-bit integers with BZERO 32768, which is how FITS stores counts without sign; the first row of the
    picture comes first in the file.

    References
    ----------
    FITS standard 4.0, sections 4.4.2 and 9.5; Calabretta & Greisen 2002, A&A 395, 1077. Reference rows DAT-01
    and DAT-04.
    """
    from astropy.io import fits

    path = Path(path)
    if path.exists() and not overwrite:
        raise FileExistsError(f"{path.name} exists already: choose another name, or allow overwrite")
    unit = fits.PrimaryHDU(np.asarray(frame.adu))
    header = unit.header
    header["BUNIT"] = ("adu", "counts of the converter")
    header["XPOSURE"] = (float(frame.exposure_s), "[s] exposure time")
    header["EXPTIME"] = (float(frame.exposure_s), "[s] the same, by custom")
    header["CREATOR"] = ("small-mount-workbook", "simulated frame")
    if frame.start is not None:
        start = frame.start.astimezone(UTC)
        header["DATE-OBS"] = (start.strftime("%Y-%m-%dT%H:%M:%S.%f")[:-3], "start of the exposure")
        days = (start - datetime(1858, 11, 17, tzinfo=UTC)).total_seconds() / 86400
        header["MJD-OBS"] = (days, "the same as a modified Julian date")
        header["TIMESYS"] = "UTC"
    if frame.target:
        header["OBJECT"] = frame.target
    if frame.filter_name:
        header["FILTER"] = frame.filter_name
    for keyword, value, comment in (
        ("GAIN", frame.gain_e_adu, "[electron/adu] electrons for one count"),
        ("RDNOISE", frame.read_noise_e, "[electron] read noise"),
        ("SATURATE", frame.saturation_adu, "[adu] pixels at this count are full"),
    ):
        if value is not None:
            header[keyword] = (value, comment)
    for keyword, value in frame.world_coordinates.items():
        header[keyword] = value
    if frame.mosaic:
        header["MOSAIC"] = (frame.mosaic, "filters of pixels (1,1) (2,1) (1,2) (2,2)")
        header["COMMENT"] = "MOSAIC is no keyword of the FITS standard, which has none for colour filters."
    for remark in frame.remarks:
        header["COMMENT"] = remark.encode("ascii", "replace").decode()
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            unit.writeto(file)
        Path(name).chmod(0o644)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return path


def read_frame(path) -> Frame:
    """Read a frame that `write_frame`, or anybody who keeps to the standard, has written.

    Parameters
    ----------
    path : str or Path
        The file.

    Returns
    -------
    Frame
        Counts and what the header says.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    FrameFileError
        If it is no FITS file, is cut short, holds no single picture of 16-bit counts, or says no exposure time.

    Notes
    -----
    The exposure time is XPOSURE, or EXPTIME by custom.

    References
    ----------
    FITS standard 4.0.
    """
    from astropy.io import fits

    path = Path(path)
    if not path.is_file():
        raise FileNotFoundError(f"there is no file {path.name} in {path.parent.name or path.parent}")
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")  # astropy only warns of a file cut short
            with path.open("rb") as file, fits.open(file, memmap=False) as units:
                scaling = {card: units[0].header.get(card) for card in ("BITPIX", "BZERO", "BSCALE")}
                header, counts = units[0].header, units[0].data
    except Exception as error:  # astropy raises a dozen kinds
        raise FrameFileError(f"{path.name} cannot be read ({error}): {CURE}") from error
    if counts is None or counts.ndim != 2:
        shape = "no picture" if counts is None else f"a picture with {counts.ndim} axes"
        planes = "" if counts is None or counts.ndim != 3 else f" (NAXIS3 = {counts.shape[0]} planes)"
        raise FrameFileError(
            f"{path.name} holds {shape}, not one raw frame with rows and columns{planes}: {CURE}"
        )
    if counts.dtype.kind not in "iu" or counts.min() < 0 or counts.max() > 65535:
        raise FrameFileError(
            f"{path.name} holds {counts.dtype.name}, not counts from 0 to 65,535{_scaling(counts, scaling)}: {CURE}"
        )
    exposure = _exposure_s(path.name, header)
    mosaic = str(_value(header, "MOSAIC") or "").strip()
    return Frame(
        adu=counts.astype(np.uint16),
        exposure_s=float(exposure),
        gain_e_adu=_positive(_value(header, "GAIN")),
        read_noise_e=_positive(_value(header, "RDNOISE")),
        saturation_adu=_positive(_value(header, "SATURATE")),
        mosaic=mosaic if mosaic in MOSAICS else "",
        start=_start(header.get("DATE-OBS")),
        target=str(_value(header, "OBJECT") or ""),
        filter_name=str(_value(header, "FILTER") or "").strip(),
        world_coordinates={key: _value(header, key) for key in WORLD if key in header},
        remarks=tuple(str(line) for line in header.get("COMMENT", ())),
    )


WORLD = (
    *("CTYPE1", "CTYPE2", "CUNIT1", "CUNIT2", "CRVAL1", "CRVAL2", "CRPIX1", "CRPIX2"),
    *("CD1_1", "CD1_2", "CD2_1", "CD2_2", "RADESYS"),
)


def _value(header, card):
    """What a card says, or its bare text where it keeps to no rule of FITS; None where there is no such card."""
    if card not in header:
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # astropy mends what it can, and says so
        try:
            return header[card]
        except Exception:  # and gives up on the rest
            return header.cards[card].image[10:].split("/")[0].strip(" '")


def _exposure_s(name, header):
    """The exposure time of a header, XPOSURE before EXPTIME."""
    card = next((card for card in ("XPOSURE", "EXPTIME") if card in header), None)
    exposure = _value(header, card) if card else None
    if isinstance(exposure, (int, float)) and not isinstance(exposure, bool) and exposure >= 0:
        return exposure
    text = str(exposure).strip()
    if card and text.count(",") == 1 and text.replace(",", "", 1).isdigit():
        raise FrameFileError(
            f"{name} says no exposure time: {card} = {text!r} has a decimal comma, FITS wants a point: "
            f"write {text.replace(',', '.')}"
        )
    told = "" if card is None else f" ({card})"
    raise FrameFileError(
        f"{name} says no exposure time (XPOSURE or EXPTIME, in seconds), but {exposure!r}{told}: add it"
    )


def _scaling(counts, scaling):
    """What the cards that scale the counts have to do with a picture that holds none."""
    if counts.dtype.kind == "i" and counts.dtype.itemsize == 2 and scaling["BZERO"] is None:
        return f", but {counts.min()} (is the card BZERO = 32768 lost?)"
    if scaling["BZERO"] not in (None, 0, 32768, 2**31) or scaling["BSCALE"] not in (None, 1):
        return f" (BZERO = {scaling['BZERO']}, BSCALE = {scaling['BSCALE']}: counts are scaled by no card but 32768)"
    return f" (BITPIX = {scaling['BITPIX']})"


def _positive(value):
    return value if isinstance(value, (int, float)) and not isinstance(value, bool) and value > 0 else None


def _start(text):
    try:
        return datetime.fromisoformat(str(text)).replace(tzinfo=UTC)
    except ValueError:
        return None
