"""Writes the plan's list of bright stars from a copy of the Yale Bright Star Catalogue.

    python tests/make_bright_stars.py [bsc5-short.json]

The catalogue is read from ``STARASSAY_DATA`` (``bright-stars/bsc5-short.json``) unless a file is named. Taken are
number, name, place (J2000), V and the temperature that its spectral type stands for, of every star to V = 4.0. Close
companions come from the catalogue itself, where both stars have their own entry within a minute of arc, and from
the list below.
"""

from __future__ import annotations

import csv
import json
import os
import re
import sys
from pathlib import Path

import numpy as np
from astropy import units as u
from astropy.coordinates import SkyCoord

TOP = Path(__file__).resolve().parents[1]
TARGET = TOP / "python" / "starassay" / "planning" / "bright_stars.csv"
FAINTEST = 4.0

# Companions within half a minute of arc that are bright enough to trouble a defocused image or a spectrum (less than
# about 5 magnitudes fainter), by number in the catalogue. From memory, after the Washington Double Star Catalog.
CLOSE = (
    *(
        219,
        322,
        603,
        804,
        897,
        1788,
        1852,
        1879,
        1899,
        1931,
        1948,
        2095,
        2216,
        2890,
        2891,
        3482,
        3485,
        3890,
        4057,
    ),
    *(
        4058,
        4216,
        4301,
        4374,
        4375,
        4399,
        4730,
        4731,
        4819,
        4825,
        4826,
        4844,
        4915,
        5054,
        5055,
        5267,
        5459,
        5460,
    ),
    *(
        5505,
        5506,
        5747,
        5776,
        5788,
        5789,
        5948,
        5953,
        5984,
        5985,
        6084,
        6134,
        6149,
        6212,
        6378,
        6406,
        6407,
        7194,
    ),
    *(7417, 7528, 7882, 8238),
)


def main() -> None:
    """Read, choose, write."""
    default = Path(os.environ.get("STARASSAY_DATA", TOP.parent / "shared" / "data"))
    source = (
        Path(sys.argv[1]) if len(sys.argv) > 1 else default / "bright-stars" / "bsc5-short.json"
    )
    whole = [r for r in json.loads(source.read_text(encoding="utf-8")) if r.get("K")]
    sky = SkyCoord([_plain(r["RA"]) for r in whole], [_plain(r["Dec"]) for r in whole])
    magnitude = np.array([float(r["V"]) for r in whole])
    rows = []
    for k in np.flatnonzero(magnitude <= FAINTEST):
        r = whole[k]
        near = sky.separation(sky[k]) < 1 * u.arcmin
        near &= magnitude < magnitude[k] + 5
        near[k] = False
        double = bool(near.any()) or int(r["HR"]) in CLOSE
        name = r.get("N") or " ".join(filter(None, (r.get("B") or r.get("F"), r.get("C"))))
        rows.append(
            (
                int(r["HR"]),
                name or f"HR {r['HR']}",
                r.get("C", ""),
                f"{sky[k].ra.deg:.4f}",
                f"{sky[k].dec.deg:.4f}",
                f"{magnitude[k]:.2f}",
                int(r["K"]),
                int(double),
            )
        )
    with TARGET.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(("hr", "name", "constellation", "ra", "dec", "v", "kelvin", "close_double"))
        out.writerows(sorted(rows))
    print(f"{TARGET.relative_to(TOP)}: {len(rows)} stars")


def _plain(text: str) -> str:
    """ "00h 05m 09.9s" or "+45° 13′ 45″" as SkyCoord reads both."""
    return re.sub(r"\s", "", text).replace("°", "d").replace("′", "m").replace("″", "s")


if __name__ == "__main__":
    main()
