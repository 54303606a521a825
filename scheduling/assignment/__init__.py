"""Jobs x crews x sprayers x hours -> a plan: hard limits first, then least risk, then least road."""

from scheduling.assignment.assign import Budget, assign
from scheduling.assignment.problem import Answer, Crew, Job, Placed, Problem, Spell, Stock, Tool, Was, Way

__all__ = [
    "Answer",
    "Budget",
    "Crew",
    "Job",
    "Placed",
    "Problem",
    "Spell",
    "Stock",
    "Tool",
    "Was",
    "Way",
    "assign",
]
