"""Claims: what vendors state, and what the scans say about it."""

from core.fitness.claims.bench import judge_all, judge_bench, without_band
from core.fitness.claims.claim import Aperture, Claim, Limit
from core.fitness.claims.decision import RULES, Rule, Verdict, decide
from core.fitness.claims.grammar import parse
from core.fitness.claims.judge import Judgement, judge
from core.fitness.claims.reach import Reach

__all__ = [
    "RULES",
    "Aperture",
    "Claim",
    "Judgement",
    "Limit",
    "Reach",
    "Rule",
    "Verdict",
    "decide",
    "judge",
    "judge_all",
    "judge_bench",
    "parse",
    "without_band",
]
