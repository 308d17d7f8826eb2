"""The one answer of a campaign: keep, adjust and measure again, return, or not decided yet."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date

from .. import _gateway
from .._records import OverallAnswer
from ..decisions.advice import Advice
from .advising import WAITED_FOR
from .description import DecisionEntry
from .outcome import Judgment


def answer_for(
    decision: DecisionEntry, judgments: Iterable[Judgment], advice: Advice, today: date
) -> OverallAnswer:
    """What to do, by the engine's rule (`OverallAnswer` there).

    Parameters
    ----------
    decision : DecisionEntry
        Return date and costs.
    judgments : iterable of Judgment
        Every claim and requirement with its verdict.
    advice : Advice
        What a user can adjust.
    today : date
        For the days that are left.
    """
    by = decision.return_by
    # What a measurement can mend is spoken of when it mends what is not met; of the wavefront any error may be the cause.
    adjustable = [
        s["about"]
        for s in advice.steps
        if s["hands"] == "user" and s["about"] not in WAITED_FOR and (s["claims"] or not s["test"])
    ]
    record = _gateway.call(
        "decisions.answer",
        {
            "claims": [
                {
                    "name": j.decision.claim.name,
                    "verdict": j.decision.verdict.replace(" ", "-"),
                    "probability": j.decision.probability,
                    "next_test": j.decision.next_test,
                    "welcome": j.entry.welcome,
                    "quantity": j.entry.quantity,
                }
                for j in judgments
            ],
            "adjustable": list(dict.fromkeys(adjustable)),
            "return_by": "" if by is None else f"{by.day} {by:%B %Y}",
            "days_left": math.nan if by is None else (by - today).days,
            "cost_of_keeping": decision.cost_of_keeping,
            "cost_of_returning": decision.cost_of_returning,
        },
    )
    return OverallAnswer.from_engine(record)
