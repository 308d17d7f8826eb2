"""``starassay plan``: what to take in a night that is still to come."""

from __future__ import annotations

import argparse
from pathlib import Path

NAME = "plan"
HELP = "Plan a night: stars, times, exposures, and how many pairs decide the campaign's claims."
NEEDS = ("starassay.planning",)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """The campaign, the night, the site, and what is known of them."""
    parser.add_argument(
        "campaign", type=Path, help="campaign file, or its folder; it needs no frames yet"
    )
    parser.add_argument(
        "--night", required=True, metavar="DATE", help="date of the evening, such as 2026-12-11"
    )
    parser.add_argument(
        "--site",
        required=True,
        metavar="LAT,LON,HEIGHT",
        help='degrees, east positive, and height: "48.1, 11.6, 520 m"',
    )
    parser.add_argument("--seeing", help="FWHM in the zenith, such as 2.5arcsec")
    parser.add_argument(
        "--efficiency",
        type=float,
        default=0.5,
        help="electrons for a photon at the objective (default: 0.5)",
    )
    parser.add_argument(
        "--horizon", default="35deg", help="least altitude of a star (default: 35deg)"
    )
    parser.add_argument(
        "--focuser-step", help="how far one step of the focuser moves the sensor, such as 4um"
    )
    parser.add_argument(
        "--strehl", type=float, help="Strehl ratio that is assumed (default: by the claims)"
    )
    parser.add_argument(
        "--chance", type=float, default=0.9, help="share of nights that shall decide (default: 0.9)"
    )
    parser.add_argument(
        "--clock",
        type=float,
        default=0.0,
        metavar="HOURS",
        help="local clock ahead of UTC (default: times in UTC)",
    )
    parser.add_argument("--page", type=Path, metavar="FILE", help="write the plan as an HTML page")
    parser.add_argument("--json", type=Path, metavar="FILE", help="write the plan as JSON")


def run(args: argparse.Namespace) -> int:
    """Plan, print, and write what was asked for."""
    from astropy import units as u

    from ..planning import plan_night

    plan = plan_night(
        args.campaign,
        night=args.night,
        site=args.site,
        seeing=args.seeing,
        efficiency=args.efficiency,
        horizon=args.horizon,
        focuser_step=args.focuser_step,
        strehl=args.strehl,
        chance=args.chance,
        clock=args.clock * u.hour,
    )
    for line in plan.summary():
        print(line)
    if args.page is not None:
        plan.write_page(args.page)
        print(f"Page: {args.page}")
    if args.json is not None:
        plan.write_json(args.json)
    return 0
