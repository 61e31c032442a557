"""How far can I go tonight? All limits over one passport, minute by minute, in finished hours."""

from workbook.verdict.answer import CAUSES, Verdict, compare, verdict
from workbook.verdict.conditions import Conditions, conditions
from workbook.verdict.curve import Curve, efficiency_curve
from workbook.verdict.path import path_yield
from workbook.verdict.rates import MinuteRates, hold_s, minute_rates
from workbook.verdict.ribbon import ribbon
from workbook.verdict.ribbon_record import LOST, Ribbon
from workbook.verdict.terms import PathTerms, path_terms
from workbook.verdict.words import as_dict, as_text

__all__ = [
    "CAUSES",
    "LOST",
    "Conditions",
    "Curve",
    "MinuteRates",
    "PathTerms",
    "Ribbon",
    "Verdict",
    "as_dict",
    "as_text",
    "compare",
    "conditions",
    "efficiency_curve",
    "hold_s",
    "minute_rates",
    "path_terms",
    "path_yield",
    "ribbon",
    "verdict",
]
