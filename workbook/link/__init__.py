"""Frames on their way: how much data a night makes, how long a frame travels, and why a radio goes deaf.

A topic of its own beside power: bytes, bits and radio bands know nothing of volts and cells.
"""

from workbook.link.data import backlog_gb, frame_bytes, frames_in_span, night_data_gb, transfer_s
from workbook.link.radio import band_overlap, path_loss_db, signal_noise_db
from workbook.link.rate import (
    EXPERIMENT,
    LINKS,
    MeasuredRate,
    RateChange,
    Throughput,
    measured_rate,
    rate_change,
)

__all__ = [
    "EXPERIMENT", "LINKS", "MeasuredRate", "RateChange", "Throughput", "backlog_gb", "band_overlap", "frame_bytes",
    "frames_in_span", "measured_rate", "night_data_gb", "path_loss_db", "rate_change", "signal_noise_db", "transfer_s",
]  # fmt: skip
