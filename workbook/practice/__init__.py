"""Practice frames: FITS files of an invented night for a rig, and what a learner's own files say about it."""

from workbook.practice.night import PracticeNight, SkyFrames, invented_night, write_sky_frames
from workbook.practice.readings import SkyReading, read_sky, sky_reading

__all__ = [
    "PracticeNight", "SkyFrames", "SkyReading", "invented_night", "read_sky", "sky_reading", "write_sky_frames",
]  # fmt: skip
