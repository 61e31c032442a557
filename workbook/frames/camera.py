"""From light to counts: colour mosaic, dark current, noise, gain, offset, bits."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from workbook.checks import between, chosen, not_negative, positive

MOSAICS = ("", "RGGB", "GRBG", "GBRG", "BGGR")


@dataclass(frozen=True)
class Sensor:
    """What a camera makes of light.

    width_px and height_px [px], read_noise_e and full_well_e [e⁻], gain_e_adu [e⁻/ADU], offset_adu [ADU], bits
    of the converter, and the colours of the first two pixels of the first and the second row, or "" for mono.
    """

    width_px: int
    height_px: int
    read_noise_e: float
    gain_e_adu: float
    offset_adu: float
    full_well_e: float
    adc_bits: int
    mosaic: str = ""

    def __post_init__(self):
        for name in ("width_px", "height_px", "gain_e_adu", "full_well_e"):
            positive(name, getattr(self, name))
        for name in ("read_noise_e", "offset_adu"):
            not_negative(name, getattr(self, name))
        between("adc_bits", self.adc_bits, 1, 16, cure="a converter has 8 to 16 bits")
        chosen("mosaic", self.mosaic, MOSAICS)

    @property
    def highest_adu(self) -> int:
        """The largest count that the converter knows."""
        return 2 ** int(self.adc_bits) - 1

    @property
    def saturation_adu(self) -> int:
        """The count at which a pixel is full or the converter at its end, whichever comes first."""
        return min(self.highest_adu, int(self.full_well_e / self.gain_e_adu + self.offset_adu))


def mosaic_light(light_e, *, mosaic, colours) -> np.ndarray:
    """The light behind a colour mosaic: each pixel keeps the share of its own filter.

    Parameters
    ----------
    light_e : array
        Mean electrons in each pixel behind the average filter, shape (height, width) [e⁻].
    mosaic : str
        Colours of the first two pixels of the first and of the second row, such as "RGGB"; "" for mono.
    colours : tuple
        Red, green and blue part of this light, in any scale: what the red, green and blue pixels would get. Two
        greens count once each, so that the mean over the mosaic stays as it was.

    Returns
    -------
    array
        Mean electrons in each pixel, a new array [e⁻].

    Raises
    ------
    ValueError
        If the mosaic is not known or a part is negative.

    Notes
    -----
    factor = 4 part / (red + 2 green + blue). Filters of real mosaics overlap; the parts contain that.

    References
    ----------
    Bayer 1976, US patent 3,971,065 (one red, one blue, two green in four).

    Examples
    --------
    >>> mosaic_light(np.ones((2, 2)), mosaic="RGGB", colours=(1, 2, 3))
    array([[0.5, 1. ],
           [1. , 1.5]])
    """
    light = np.array(light_e, dtype=np.result_type(light_e, np.float32))
    if chosen("mosaic", mosaic, MOSAICS):
        red, green, blue = (not_negative("colours", part) for part in colours)
        parts = {"R": red, "G": green, "B": blue}
        mean = positive("colours", red + 2 * green + blue, cure="one part at least must be light") / 4
        for place, colour in enumerate(mosaic):
            light[place // 2 :: 2, place % 2 :: 2] *= parts[colour] / mean
    return light


def read_out(light_e, *, sensor, seed) -> np.ndarray:
    """What the camera writes: the counts of one exposure, with all its noise.

    Parameters
    ----------
    light_e : array
        Mean electrons in each pixel, light and dark current together, shape (height, width) [e⁻].
    sensor : Sensor
        The camera.
    seed : int
        Which random noise.

    Returns
    -------
    array
        Counts [ADU], 16-bit integers.

    Raises
    ------
    ValueError
        If the picture is not of the sensor's size, or holds negative light.

    Notes
    -----
    Poisson electrons, cut at the full well; Gaussian read noise; divided by the gain, offset added, rounded,
    cut to the converter's range. Counts are not stretched: 14 bits end at 16,383 in a file of 16 bits. No hot
    pixels, no fixed pattern, no bleeding of full pixels.

    References
    ----------
    EMVA 1288 release 4.0, linear camera model (recalled). Reference rows SNR-04 and DET-01.

    Examples
    --------
    >>> camera = Sensor(width_px=100, height_px=80, read_noise_e=1.6, gain_e_adu=0.8, offset_adu=500,
    ...                 full_well_e=13000, adc_bits=14)
    >>> counts = read_out(np.full((80, 100), 400.0), sensor=camera, seed=1)
    >>> counts.dtype, bool(abs(counts.mean() - (500 + 400 / 0.8)) < 2)
    (dtype('uint16'), True)
    """
    light = checked_light(light_e, sensor)
    random = np.random.default_rng(seed)
    electrons = np.minimum(random.poisson(light), sensor.full_well_e)
    electrons = electrons + random.normal(0.0, sensor.read_noise_e, light.shape)
    counts = np.floor(electrons / sensor.gain_e_adu + sensor.offset_adu + 0.5)
    return np.clip(counts, 0, sensor.highest_adu).astype(np.uint16)


def checked_light(light_e, sensor, *, name="light_e") -> np.ndarray:
    """The light as an array of the sensor's size, without negative electrons."""
    light = np.asarray(light_e)
    if light.shape != (sensor.height_px, sensor.width_px):
        raise ValueError(
            f"{name} must have the sensor's shape (rows, columns) {(sensor.height_px, sensor.width_px)}, "
            f"received {light.shape}"
        )
    lowest = float(light.min())
    if not lowest >= 0:
        raise ValueError(f"{name} must be 0 or more electrons everywhere, received {lowest:g}")
    return light
