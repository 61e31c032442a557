"""A stack of files: each checked first, read piece by piece, and the result written beside them.

Every fault is one line with the file's name and the card at fault. The job stops at the first, or leaves such
files out and goes on, as the caller chose. Nothing that exists is overwritten.
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from typing import NamedTuple

import numpy as np

from workbook.checks import chosen
from workbook.frames.align import AlignmentError, align_stars
from workbook.frames.camera import MOSAICS
from workbook.frames.files import Frame, FrameFileError, read_frame
from workbook.frames.finder import find_stars
from workbook.frames.measure import clipped_statistics, colour_planes
from workbook.frames.stack import MOST_STARS, THRESHOLD_SIGMAS, Alignment, Stack, stack_subs

ON_FAULT = ("stop", "skip")
COLOURS = ("R", "G", "B", "all")
MOSAIC_LEAST = 0.02  # lattices whose medians differ by more than this share are behind filters
SAME_TIME = 0.01  # exposures within this share count as equal


class StackJob(NamedTuple):
    """What became of a list of files.

    stack, the result; used, the files in it; faults, one line for each that is not; first, what the header of
    the reference says; colour, which pixels of a mosaic, "" for mono.
    """

    stack: Stack
    used: tuple[Path, ...]
    faults: tuple[str, ...]
    first: Frame
    colour: str


class DiskPicture:
    """A picture that stays on the disk: `picture[rows, columns]` reads a piece of it, in counts.

    With a mosaic and a colour it is the picture of that colour's pixels, half as wide and high.
    """

    def __init__(self, path, *, mosaic="", colour=""):
        from astropy.io import fits

        with fits.open(path, memmap=True, do_not_scale_image_data=True) as units:
            header, self._raw = units[0].header, units[0].data
        self._zero = header.get("BZERO", 0)
        self._planes = [self._raw]
        if colour:
            planes = colour_planes(self._raw, mosaic=mosaic)
            self._planes = [p for name, some in planes.items() if colour in (name, "all") for p in some]
        self.shape = self._planes[0].shape

    def __getitem__(self, piece):
        whole = [
            (plane[piece].astype(np.int32) + int(self._zero)).astype(np.uint16) for plane in self._planes
        ]
        return whole[0] if len(whole) == 1 else np.mean(whole, axis=0, dtype=np.float32)


def stack_files(
    paths,
    *,
    method,
    resampling,
    on_fault,
    alignments=None,
    colour="",
    mosaic=None,
    clip_sigmas=3.0,
    match_background=True,
    progress=None,
) -> StackJob:
    """The raw frames of some files, checked, aligned and combined.

    Parameters
    ----------
    paths : sequence
        FITS files; the first good one is the reference.
    method, resampling : str
        As in `stack_subs`.
    on_fault : str
        "stop": the first faulty file ends the job. "skip": it is left out, with a line in `faults`.
    alignments : sequence or None
        One known `Alignment` for each path; by default they are measured from the stars.
    colour : str
        Which pixels of a colour mosaic: "R", "G", "B" or "all" (the mean of each cell of four), which gives a
        picture of half the size; by default "", for a mono camera.
    mosaic : str or None
        Colours of the mosaic where the files do not say it, such as "RGGB"; by default what each file says.
    clip_sigmas, match_background
        As in `stack_subs`, with its defaults.
    progress : function or None
        Called with a word for what is being done, the number done and their number.

    Returns
    -------
    StackJob
        The stack, the files used, the faults, the reference's header.

    Raises
    ------
    FrameFileError, AlignmentError
        With on_fault "stop", at the first faulty file; with "skip" if no file is left.
    ValueError
        If an option is not known, or the numbers of files and alignments differ.

    Notes
    -----
    Faults: a file that cannot be read or is cut short; no exposure time, or one with a decimal comma; counts
    scaled by strange BZERO or BSCALE; three planes; a mosaic without a chosen colour, told or seen by its
    pixels; another size, filter, exposure (by more than 1 %), gain or mosaic than the reference; too few
    common stars. Stars of a mosaic are found on the whole raw frame, its four lattices brought to one level.

    References
    ----------
    FITS standard 4.0, sections 4.2 and 4.4.
    """
    chosen("on_fault", on_fault, ON_FAULT)
    chosen("colour", colour, ("", *COLOURS))
    paths = [Path(path) for path in paths]
    if alignments is not None and len(alignments) != len(paths):
        raise ValueError(
            f"one alignment for each file: received {len(paths)} files, {len(alignments)} alignments"
        )
    tell = progress if progress is not None else lambda *what: None
    used, faults, pictures, found = [], [], [], []
    first, stars = None, None
    for number, path in enumerate(paths):
        try:
            frame = read_frame(path)
            its_mosaic = frame.mosaic if mosaic is None else chosen("mosaic", mosaic, MOSAICS)
            if fault := _unlike(path, frame, first, its_mosaic, colour):
                raise FrameFileError(fault)
            picture = DiskPicture(path, mosaic=its_mosaic, colour=colour)
            if alignments is None:
                seen = _stars_of(frame, its_mosaic)
                if stars is None:
                    if seen.usable.sum() < 4:
                        raise AlignmentError("too few stars to be the reference")
                    alignment = _of_picture(None, picture, frame)
                else:
                    alignment = _of_picture(_against(stars, seen, frame), picture, frame)
                stars = seen if stars is None else stars
            else:
                alignment = alignments[number]
        except (FrameFileError, FileNotFoundError, AlignmentError) as error:
            line = str(error) if path.name in str(error) else f"{path.name}: {error}"
            if on_fault == "stop":
                raise type(error)(line) from error
            faults.append(line)
        else:
            first = frame if first is None else first
            used.append(path)
            pictures.append(picture)
            found.append(alignment)
        tell("checked and aligned", number + 1, len(paths))
    if not pictures:
        raise FrameFileError("no file is left to stack: " + "; ".join(faults or ["the list is empty"]))
    made = stack_subs(
        pictures,
        alignments=found,
        method=method,
        resampling=resampling,
        clip_sigmas=clip_sigmas,
        match_background=match_background,
        progress=lambda done, of: tell("stacked", done, of),
    )
    return StackJob(made, tuple(used), tuple(faults), first, colour)


def write_stack(path, job: StackJob, *, on_exists) -> Path:
    """A stack as a FITS file: the picture, and as extensions NOISE, COVERAGE and REJECTED.

    Parameters
    ----------
    path : str or Path
        The file.
    job : StackJob
        What `stack_files` made.
    on_exists : str
        "refuse": an error if the file exists. "number": the next free name is taken, stack-2.fits and so on.

    Returns
    -------
    Path
        The file written.

    Raises
    ------
    FileExistsError
        If the file exists and on_exists is "refuse".

    Notes
    -----
    Counts are those of one sub, so XPOSURE is the exposure of one; NCOMBINE says how many, by custom. An
    existing file is never replaced, nor is a half-written one left behind.

    References
    ----------
    FITS standard 4.0, sections 4.4.2 and 7.1.
    """
    from astropy.io import fits

    chosen("on_exists", on_exists, ("refuse", "number"))
    primary = fits.PrimaryHDU(job.stack.light_adu)
    header = primary.header
    header["BUNIT"] = ("adu", "counts of one sub")
    header["XPOSURE"] = (float(job.first.exposure_s), "[s] exposure time of one sub")
    header["EXPTIME"] = (float(job.first.exposure_s), "[s] the same, by custom")
    header["NCOMBINE"] = (len(job.used), "subs in this stack")
    header["CREATOR"] = ("small-mount-workbook", "stack")
    if job.first.filter_name:
        header["FILTER"] = job.first.filter_name
    if job.first.target:
        header["OBJECT"] = job.first.target
    if job.first.gain_e_adu is not None:
        header["GAIN"] = (job.first.gain_e_adu, "[electron/adu] electrons for one count")
    if not job.colour:
        for card, value in job.first.world_coordinates.items():
            header[card] = value
    told = [f"combined by {job.stack.method}, {job.stack.resampling}"]
    told.append(f"noise of a large area: {job.stack.area_noise:.3f} times what single pixels suggest")
    told += [f"colour {job.colour} of a mosaic, half the size"] if job.colour else []
    told += [f"used {each.name}" for each in job.used] + [f"left out: {line}" for line in job.faults]
    for line in told:
        header["HISTORY"] = line.replace("×", "x").encode("ascii", "replace").decode()
    units = fits.HDUList(
        [
            primary,
            fits.ImageHDU(job.stack.noise_adu, name="NOISE"),
            fits.ImageHDU(job.stack.coverage, name="COVERAGE"),
            fits.ImageHDU(job.stack.rejected, name="REJECTED"),
        ]
    )
    units["NOISE"].header["BUNIT"] = ("adu", "noise of each pixel of the stack")
    path = _reserved(Path(path), on_exists)
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
    try:
        with os.fdopen(handle, "wb") as file:
            units.writeto(file)
        Path(name).chmod(0o644)
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        path.unlink()
        raise
    return path


def _reserved(path, on_exists):
    """A free name, taken by an empty file in the same moment, so that nobody else can take it."""
    number, free = 1, path
    while True:
        try:
            free.open("xb").close()
            return free
        except FileExistsError:
            if on_exists == "refuse":
                raise FileExistsError(
                    f"{path.name} exists already: choose another name, or let it be numbered"
                ) from None
            number += 1
            free = path.with_name(f"{path.stem}-{number}{path.suffix}")


def _stars_of(frame, mosaic):
    """The stars of a raw frame. A mosaic is taken whole, its four lattices brought to one level: the stars of a short
    telescope are so sharp that in the pixels of one colour they cannot be told from hot pixels.
    """
    counts = frame.adu
    if mosaic:
        counts = counts.astype(np.float32)
        lattices = [counts[row::2, column::2] for row in (0, 1) for column in (0, 1)]
        levels = [float(np.median(lattice)) for lattice in lattices]
        for lattice, level in zip(lattices, levels, strict=True):
            lattice += np.mean(levels) - level
    return find_stars(
        counts, threshold_sigmas=THRESHOLD_SIGMAS, saturation_adu=frame.saturation_adu, most=MOST_STARS
    )


def _against(stars, seen, frame):
    """How a sub lies against the reference, about the middle of the raw frame."""
    middle_y, middle_x = ((size - 1) / 2 for size in frame.adu.shape)
    return align_stars(reference=stars, sub=seen, centre_x_px=middle_x, centre_y_px=middle_y)


def _of_picture(alignment, picture, frame):
    """An alignment of raw frames in the pixels of the picture that is stacked, half as many for one colour."""
    middle_y, middle_x = ((size - 1) / 2 for size in picture.shape)
    if alignment is None:
        return Alignment(0.0, 0.0, 0.0, middle_x, middle_y)
    share = 1.0 if picture.shape == frame.adu.shape else 0.5
    return alignment._replace(
        shift_x_px=share * alignment.shift_x_px,
        shift_y_px=share * alignment.shift_y_px,
        centre_x_px=middle_x,
        centre_y_px=middle_y,
        residual_px=share * alignment.residual_px,
        sigma_px=share * alignment.sigma_px,
    )


def _unlike(path, frame, first, mosaic, colour):
    """Why a frame does not belong into the stack, as one line; None where it does."""
    name = path.name
    if mosaic and not colour:
        return f"{name} is a colour mosaic (MOSAIC = {mosaic}): choose which pixels to stack, colour='G' or another"
    if colour and not mosaic:
        return f"{name} says no colour mosaic (MOSAIC): give mosaic='RGGB' or whatever the camera has"
    if not mosaic and (medians := _lattices(frame.adu)):
        return (
            f"{name} looks like a colour mosaic (medians of its four lattices {medians}) but has no card MOSAIC: "
            "give mosaic='RGGB' or whatever the camera has, and a colour"
        )
    if first is None:
        return None
    if frame.adu.shape != first.adu.shape:
        (high, wide), (first_high, first_wide) = frame.adu.shape, first.adu.shape
        sizes = f"NAXIS1 = {wide}, NAXIS2 = {high}; the first has {first_wide} × {first_high} px"
        return f"{name} has another size ({sizes}): pictures of one stack come from one camera"
    for card, its, ours in (
        ("FILTER", frame.filter_name, first.filter_name),
        ("MOSAIC", frame.mosaic, first.mosaic),
        ("GAIN", frame.gain_e_adu, first.gain_e_adu),
    ):
        if its != ours:
            return f"{name} has {card} = {its!r}, the first {ours!r}: make a stack of each"
    if abs(frame.exposure_s - first.exposure_s) > SAME_TIME * first.exposure_s:
        times = f"{frame.exposure_s:g} s, the first {first.exposure_s:g} s"
        return f"{name} has XPOSURE (EXPTIME) = {times}: make a stack of each"
    return None


def _lattices(adu):
    """Medians of the four lattices of a picture, as text, where they differ as behind colour filters."""
    step = 2 * max(1, int(np.sqrt(adu.size / 400_000)))
    found = [
        clipped_statistics(adu[up::step, right::step], clip_sigmas=3.0) for up in (0, 1) for right in (0, 1)
    ]
    medians = [each.median_adu for each in found]
    error = 1.25 * max(each.sigma_adu for each in found) / np.sqrt(adu.size / step**2)
    apart = max(medians) - min(medians)
    if apart > 8 * error and apart > MOSAIC_LEAST * max(min(medians), 1.0):
        return ", ".join(f"{median:.0f}" for median in medians)
    return None
