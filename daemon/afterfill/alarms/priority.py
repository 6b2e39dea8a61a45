"""The priority of an alarm follows from what happens when no one acts, and from how soon it does.

Two axes and a small matrix, as ISA-18.2 and EEMUA 191 ask for (from memory); what stands in its
cells is our judgement. A definition names its row and column, never its priority.
"""

from typing import Literal

from afterfill.records import Priority

Severity = Literal[
    "severe",  # fish may die
    "moderate",  # fish suffer, or a danger goes unseen
    "minor",  # nothing yet; upkeep that is cheaper now than later
]
Urgency = Literal["minutes", "hours", "days"]

MATRIX: dict[Severity, dict[Urgency, Priority]] = {
    "severe": {"minutes": "high", "hours": "high", "days": "medium"},
    "moderate": {"minutes": "high", "hours": "medium", "days": "low"},
    "minor": {"minutes": "medium", "hours": "low", "days": "low"},
}
_WORDS: dict[Severity, str] = {
    "severe": "fish may die",
    "moderate": "fish suffer or a danger goes unseen",
    "minor": "no harm yet",
}


def priority_of(severity: Severity, urgency: Urgency) -> Priority:
    """The cell of the matrix."""
    return MATRIX[severity][urgency]


def reason_of(severity: Severity, urgency: Urgency) -> str:
    """Why the priority is what it is, in words."""
    return f"{_WORDS[severity]} ({severity}), and there are {urgency} to act"
