"""The campaign: everything measured on one telescope, described in one TOML file.

>>> import starassay
>>> outcome = starassay.run_campaign("campaign.toml", progress=True)  # doctest: +SKIP
>>> outcome.judgments[0].decision.verdict, outcome.report  # doctest: +SKIP

docs/campaign.md shows every key of the file, docs/report.md what the report folder holds.
"""

from __future__ import annotations

from .description import Campaign
from .reading import read_campaign
from .running import run_campaign
from .starting import Beginning, begin_campaign

__all__ = ["Beginning", "Campaign", "begin_campaign", "read_campaign", "run_campaign"]
