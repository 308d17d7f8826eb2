"""What to take in a night that is still to come: stars, times, exposures, and how many pairs decide the claims.

>>> import starassay
>>> plan = starassay.plan_night(
...     "campaign.toml", night="2026-12-11", site="48.1, 11.6, 520 m"
... )  # doctest: +SKIP
>>> plan.table, plan.plot(), plan.sentences()  # doctest: +SKIP
"""

from __future__ import annotations

from .night_plan import NightPlan
from .planning import plan_night

__all__ = ["NightPlan", "plan_night"]
