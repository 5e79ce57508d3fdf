"""Proposes a channel map for a log nobody has described yet: which column is which channel, how sure, and why.

Goes by name, unit and range, and by how values behave: what steps between levels and what follows it, what warms up,
what dips when the engine starts. A proposal is for a person to read and correct; what cannot be told is asked.
"""

from pipeline.proposal.lines import MAYBE_FROM, SURE_FROM, ColumnProposal, Proposal, Question
from pipeline.proposal.overrides import Override, OverrideError, parse_override, with_picks
from pipeline.proposal.proposing import propose

__all__ = [
    "MAYBE_FROM",
    "SURE_FROM",
    "ColumnProposal",
    "Override",
    "OverrideError",
    "Proposal",
    "Question",
    "parse_override",
    "propose",
    "with_picks",
]
