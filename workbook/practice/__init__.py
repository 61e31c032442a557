"""Practice frames: FITS files of an invented night for a rig, and what a learner's own files say about it."""

from workbook.practice.night import PracticeNight, SkyFrames, invented_night, write_sky_frames
from workbook.practice.readings import SkyReading, read_sky, sky_reading
from workbook.practice.subs import stack_reading, write_subs
from workbook.practice.transfer import (
    TransferFrames,
    TransferReading,
    read_transfer,
    transfer_reading,
    write_transfer_frames,
)

__all__ = [
    "PracticeNight", "SkyFrames", "SkyReading", "TransferFrames", "TransferReading", "invented_night", "read_sky",
    "read_transfer", "sky_reading", "stack_reading", "transfer_reading", "write_sky_frames", "write_subs",
    "write_transfer_frames",
]  # fmt: skip
