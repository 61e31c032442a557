"""What to do with a night, and with a year: which target, in which order and mode, in which month, and when to stop."""

from workbook.plan.card import field_card
from workbook.plan.cloud import CloudStop, cloud_stop
from workbook.plan.energy import EnergyNight, OwnLeads, energy_night, own_leads
from workbook.plan.fields import YieldMap, yield_map
from workbook.plan.mode import ModeAdvice, mode_advice
from workbook.plan.ranked import Ranking, Wish, top_with_ranges
from workbook.plan.ranking import rank
from workbook.plan.season import Season, season
from workbook.plan.sequence import Block, Sequence, sequence

__all__ = [
    "Block",
    "CloudStop",
    "EnergyNight",
    "ModeAdvice",
    "OwnLeads",
    "Ranking",
    "Season",
    "Sequence",
    "Wish",
    "YieldMap",
    "cloud_stop",
    "energy_night",
    "field_card",
    "mode_advice",
    "own_leads",
    "rank",
    "season",
    "sequence",
    "top_with_ranges",
    "yield_map",
]
