"""Judgements: how even, where too bright or too dark, does it read as lit, can it be trusted."""

from glowsim.findings.account import EnergyAccount, energy_account
from glowsim.findings.agreement import Agreement, agreement_of
from glowsim.findings.compared import Comparison, comparisons_from, comparisons_of
from glowsim.findings.evenness import Evenness, evenness, evenness_of
from glowsim.findings.lit import ReadsAsLit, grade_of, reads_as_lit
from glowsim.findings.luminance import Look, looks_of
from glowsim.findings.patches import Eye, Patch
from glowsim.findings.report import Finding, Findings, findings_of

__all__ = [
    "Agreement",
    "Comparison",
    "EnergyAccount",
    "Evenness",
    "Eye",
    "Finding",
    "Findings",
    "Look",
    "Patch",
    "ReadsAsLit",
    "agreement_of",
    "comparisons_from",
    "comparisons_of",
    "energy_account",
    "evenness",
    "evenness_of",
    "findings_of",
    "grade_of",
    "looks_of",
    "reads_as_lit",
]
