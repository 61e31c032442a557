"""How far can I go tonight? All limits over one passport, minute by minute, in finished hours."""

from workbook.verdict.answer import CAUSES, Verdict, compare, verdict
from workbook.verdict.conditions import Conditions, conditions
from workbook.verdict.curve import Curve, efficiency_curve
from workbook.verdict.path import path_yield
from workbook.verdict.terms import PathTerms, path_terms
from workbook.verdict.words import as_dict, as_text

__all__ = [
    "CAUSES",
    "Conditions",
    "Curve",
    "PathTerms",
    "Verdict",
    "as_dict",
    "as_text",
    "compare",
    "conditions",
    "efficiency_curve",
    "path_terms",
    "path_yield",
    "verdict",
]
