"""Flats and biases in pairs: frames of an invented camera, and what a learner's own pairs say about theirs."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import numpy as np

from workbook import frames, sensor
from workbook.practice.night import HEIGHT_PX, REMARK, WIDTH_PX, invented_night

FLAT_SHARES = (0.2, 0.5)  # green light of the flats, as a share of a full pixel
FLAT_S, DARK_S, BIAS_S = 1.0, 60.0, 1e-4
LAMP = (0.55, 1.0, 0.7)  # red, green and blue part of the flat's light
CORNER, UNEVEN = 0.75, 0.01  # light in the corners, and how unlike the pixels are
CLIP_SIGMAS = 3.0
STRAIGHT = 0.01  # no camera's counts are in step with light to better than a hundredth or so


class TransferFrames(NamedTuple):
    """Files of one camera at one setting: flats two by two, biases and darks of 60 s, two of each."""

    flats: tuple[Path, ...]
    biases: tuple[Path, ...]
    darks: tuple[Path, ...]


class TransferReading(NamedTuple):
    """A camera by its own frames.

    Gain and read noise with uncertainties, the pairs used and those refused with the reason (`camera`); number of
    pairs used; whether the brightest two flats will flatten a picture; dark current and its uncertainty, None
    without darks [e⁻/s/px].
    """

    camera: sensor.PhotonTransfer
    pairs: int
    flats: sensor.FlatCheck
    dark_e_s_px: float | None
    dark_sigma_e_s_px: float | None

    def words(self) -> str:
        """The same in lines, those for the passport last."""
        seen = self.camera
        lines = [
            f"Gain {seen.gain_e_adu:.3f} ± {seen.gain_sigma_e_adu:.3f} e⁻/ADU, read noise "
            f"{seen.read_noise_e:.2f} ± {seen.read_noise_sigma_e:.2f} e⁻, from {self.pairs} pairs of flats."
        ]
        found = [
            ("gain_e_adu", f"{seen.gain_e_adu:.3f}", f"{seen.gain_sigma_e_adu:.3f}"),
            ("read_noise_e", f"{seen.read_noise_e:.2f}", f"{seen.read_noise_sigma_e:.2f}"),
        ]
        if self.dark_e_s_px is not None:
            value, sigma = f"{self.dark_e_s_px:.4f}", f"{self.dark_sigma_e_s_px:.4f}"
            lines.append(f"Dark current {value} ± {sigma} e⁻/s/px at the temperature that the sensor had.")
            found.append(("dark_e_s_px", value, sigma))
        lines.append(self._flat_words())
        lines += [f"Left out: {reason}." for reason in seen.refused]
        lines.append("For [camera]:")
        lines += [
            f"  {name} = {{ value = {value}, sigma = {sigma}, measured = {DAY} }}"
            for name, value, sigma in found
        ]
        if self.dark_e_s_px is not None:
            lines.append("  dark_reference_degc = the temperature that the sensor had")
        return "\n".join(lines)

    def _flat_words(self):
        """The brightest two flats: their light, their corners, and what speaks against them."""
        found = self.flats
        against = "good to flatten with" if found.good else "not good: " + "; ".join(found.reasons)
        return (
            f"Brightest flats: {100 * found.level_share:.0f} % of the largest count, corners "
            f"{100 * found.corner_share:.0f} % of the middle; {against}."
        )


DAY = "the day, as 2026-11-02"


def write_transfer_frames(folder, passport, *, seed: int) -> TransferFrames:
    """Two flats at each of two levels, two biases and two darks of 60 s, as FITS files.

    Parameters
    ----------
    folder : str or Path
        Where the files go; it is made. Files of the same night that are there already are kept.
    passport : Passport
        The rig.
    seed : int
        Which invented night; its camera differs from the passport's as a real one does.

    Returns
    -------
    TransferFrames
        The paths.
    """
    night = invented_night(passport, seed=seed)
    folder = Path(folder)
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"{passport.name}-night-{seed}"
    even = np.full((HEIGHT_PX, WIDTH_PX), 1.0, np.float32)
    shape = _flat_shape(night.camera, seed)
    full_e = (night.camera.saturation_adu - night.camera.offset_adu) * night.camera.gain_e_adu
    wanted = [
        ("flats", FLAT_S, share * full_e * shape) for share in FLAT_SHARES for _ in range(2)
    ]  # each level twice
    wanted += [("biases", BIAS_S, 0.0 * even)] * 2
    wanted += [("darks", DARK_S, DARK_S * night.dark_e_s_px * even)] * 2
    paths: dict[str, list[Path]] = {"flats": [], "biases": [], "darks": []}
    for number, (kind, time_s, light_e) in enumerate(wanted):
        path = folder / f"{stem}-{kind}-{len(paths[kind]) + 1}.fits"
        paths[kind].append(path)
        if not path.exists():
            counts = frames.read_out(light_e, sensor=night.camera, seed=[seed, 100 + number])
            frame = frames.Frame(
                adu=counts,
                exposure_s=time_s,
                saturation_adu=night.camera.saturation_adu,
                mosaic=night.camera.mosaic,
                remarks=(REMARK.replace("its stars are", "its light is"),),
            )
            frames.write_frame(path, frame, overwrite=False)
    return TransferFrames(*(tuple(paths[kind]) for kind in TransferFrames._fields))


def read_transfer(passport, files) -> TransferReading:
    """Gain, read noise and dark current of a camera from pairs of its own frames.

    Parameters
    ----------
    passport : Passport
        The rig; says where its counts end if the files do not.
    files : TransferFrames or mapping
        Paths by kind: flats, two by two of the same light; biases, two by two; darks if there are any.

    Returns
    -------
    TransferReading

    Raises
    ------
    FileNotFoundError, frames.FrameFileError
        If a file is not there, or is no raw frame.
    ValueError
        If flats or biases are missing or not in pairs, sizes differ, or no pair can be used: each reason is said.

    Notes
    -----
    Each colour of a mosaic makes pairs of its own, at its own level. Variance of the differences against light is
    a straight line: its slope is 1/gain, its height at no light the read noise (`sensor.photon_transfer`). One
    per cent is added to both uncertainties for counts that are not quite in step with light.
    The two brightest flats are judged by `sensor.check_flats`, all colours of a mosaic together.
    Dark current: clipped mean of the darks less that of the biases, over the time; its uncertainty is the scatter
    over the pixels and that of the gain. Flats that differ in light by more than 2 % are refused.

    References
    ----------
    Janesick, J. (2001), Scientific Charge-Coupled Devices, SPIE Press, ch. 2; EMVA Standard 1288, release 4.0
    (2021), photon transfer method; reference rows DET-08 and DET-09.
    """
    given = files._asdict() if isinstance(files, tuple) else dict(files)
    seen = {
        kind: [frames.read_frame(path) for path in given.get(kind) or ()] for kind in TransferFrames._fields
    }
    for kind in ("flats", "biases"):
        if len(seen[kind]) < 2 or len(seen[kind]) % 2:
            raise ValueError(f"{kind} must come in pairs, received {len(seen[kind])}: two of the same light")
    sizes = {frame.adu.shape for kind in seen.values() for frame in kind}
    if len(sizes) > 1:
        words = ", ".join(sorted(f"{columns} × {rows} px" for rows, columns in sizes))
        raise ValueError(f"the frames differ in size ({words}): same camera, same setting?")
    flats, biases = (_pairs(seen[kind]) for kind in ("flats", "biases"))
    top = seen["flats"][0].saturation_adu or _top_adu(passport)
    camera = sensor.photon_transfer(flat_pairs_adu=flats, bias_pairs_adu=biases, saturation_adu=top)
    camera = camera._replace(
        gain_sigma_e_adu=float(np.hypot(camera.gain_sigma_e_adu, STRAIGHT * camera.gain_e_adu)),
        read_noise_sigma_e=float(np.hypot(camera.read_noise_sigma_e, STRAIGHT * camera.read_noise_e)),
    )
    used = len(flats) - sum(reason.startswith("flat") for reason in camera.refused)
    return TransferReading(camera, used, _judged(seen, top), *_dark(seen["darks"], seen["biases"], camera))


def transfer_reading(passport, files) -> str:
    """The reading in words; any fault of the files is one line, so that a lesson goes on."""
    try:
        return read_transfer(passport, files).words()
    except (OSError, ValueError, KeyError, TypeError) as fault:
        return f"No reading: {' '.join(str(fault).split())}"


def _flat_shape(camera, seed):
    """Light of an even wall on the sensor: darker corners, unlike pixels, the colours of the mosaic; green is 1."""
    y, x = np.mgrid[-1 : 1 : HEIGHT_PX * 1j, -1 : 1 : WIDTH_PX * 1j]
    shape = 1 - (1 - CORNER) * (x**2 + y**2) / 2
    shape *= 1 + UNEVEN * np.random.default_rng([seed, 99]).standard_normal(shape.shape)
    if not camera.mosaic:
        return shape
    coloured = frames.mosaic_light(shape, mosaic=camera.mosaic, colours=LAMP)
    return coloured * (LAMP[0] + 2 * LAMP[1] + LAMP[2]) / (4 * LAMP[1])


def _pairs(found):
    """Two by two, each colour of a mosaic by itself."""
    pairs = []
    for first, second in zip(found[::2], found[1::2], strict=True):
        if first.mosaic:
            planes = (frames.colour_planes(frame.adu, mosaic=first.mosaic) for frame in (first, second))
            one, other = ([plane for colour in sorted(p) for plane in p[colour]] for p in planes)
            pairs += list(zip(one, other, strict=True))
        else:
            pairs.append((first.adu, second.adu))
    return pairs


def _judged(seen, top_adu):
    """The verdict on the pair of flats that has most light."""
    found = seen["flats"]
    first, second = max(
        zip(found[::2], found[1::2], strict=True), key=lambda pair: min(np.mean(frame.adu) for frame in pair)
    )
    bias_adu = float(np.mean([np.mean(frame.adu) for frame in seen["biases"]]))
    return sensor.check_flats(
        first_adu=first.adu, second_adu=second.adu, bias_adu=bias_adu, saturation_adu=top_adu
    )


def _top_adu(passport):
    """Where the counts of the passport's camera end [ADU]."""
    well = passport["camera.full_well_e"] / passport["camera.gain_e_adu"] + passport["camera.offset_adu"]
    return min(2 ** passport["camera.adc_bits"] - 1, int(well))


def _dark(darks, biases, camera):
    """Dark current and its uncertainty, None twice without darks."""
    if not darks:
        return None, None
    if len(times := {round(frame.exposure_s, 3) for frame in darks}) > 1 or not max(times) > 1:
        raise ValueError("darks must all have the same time, and more than 1 s: 60 s or longer shows most")
    level = {
        kind: [frames.clipped_statistics(frame.adu, clip_sigmas=CLIP_SIGMAS) for frame in found]
        for kind, found in (("dark", darks), ("bias", biases))
    }
    counts = np.mean([s.mean_adu for s in level["dark"]]) - np.mean([s.mean_adu for s in level["bias"]])
    scatter = np.sqrt(
        sum(np.mean([s.sigma_adu for s in found]) ** 2 / len(found) for found in level.values())
    )
    rate = float(counts * camera.gain_e_adu / darks[0].exposure_s)
    own = scatter / np.sqrt(darks[0].adu.size) * camera.gain_e_adu / darks[0].exposure_s
    return max(rate, 0.0), float(np.hypot(own, rate * camera.gain_sigma_e_adu / camera.gain_e_adu))
