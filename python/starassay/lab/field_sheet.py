"""One sheet of a sensor: stars at places of the field, as tilt, curvature, spacing, astigmatism and coma leave them."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
from astropy import units as u

from .. import _gateway, _units, style
from ..simulation.instruments import FieldErrors
from . import _pictures

#: Sensor of the sheet, mm, and places along its sides.
WIDTH, HEIGHT = 23.4, 15.6
COLUMNS, ROWS = 7, 5
POINTS = 49
HALF_WIDTH = 30.0

#: The sheet's invented reducer: what a millimeter of spacing too little does at the sensor's corner, um of focus; real ones
#: differ in size and in sign, and are measured.
SAG_PER_MM, SPLIT_PER_MM = -60.0, 40.0


@dataclasses.dataclass(frozen=True, eq=False, repr=False)
class FieldSheet:
    """Stars over a sensor.

    Attributes
    ----------
    errors : FieldErrors
        What changes over the field.
    focal_ratio : float
        Focal length over aperture.
    wavelength : Quantity
        Of the light.
    x, y : Quantity, shape (k,)
        Places, from the sensor's middle.
    defocus : Quantity, shape (k,)
        Sensor against the best focus at each place, positive outside.
    rms : Quantity, shape (k,)
        Wavefront error at each place, defocus included.
    images : ndarray, shape (k, m, m)
        The stars; 1 = center of the perfect image.
    """

    errors: FieldErrors
    focal_ratio: float
    wavelength: u.Quantity
    x: u.Quantity
    y: u.Quantity
    defocus: u.Quantity
    rms: u.Quantity
    images: np.ndarray

    def __repr__(self) -> str:
        return f"<FieldSheet: {', '.join(f'{n} {v}' for n, v in self.numbers)}>"

    @property
    def numbers(self) -> list[tuple[str, str]]:
        """What stands above the picture."""
        d = self.defocus.value
        sharp = np.mean(self.rms.to_value(u.nm) < self.wavelength.to_value(u.nm) / 14)
        return [
            ("focus off by", f"{_signed(d.min())} to {_signed(d.max())} µm"),
            ("largest disc", f"{np.abs(d).max() / self.focal_ratio:.0f} µm"),
            ("stars sharp (RMS below 1/14 wave)", f"{100 * sharp:.0f} %"),
        ]

    def html(self) -> str:
        """The sheet as a piece of HTML."""
        m = self.images.shape[-1]
        tiles = np.sqrt(self.images).reshape(ROWS, COLUMNS, m, m).transpose(0, 2, 1, 3)
        address = _pictures.png(tiles.reshape(ROWS * m, COLUMNS * m), 0, 0.4, style.IMAGE)
        wide, high = 100 * COLUMNS, 100 * ROWS
        marks = []
        for k, d in enumerate(self.defocus.value):
            column, row = k % COLUMNS, ROWS - 1 - k // COLUMNS
            marks.append(
                f'<text x="{100 * column + 50}" y="{100 * row + 96}" text-anchor="middle">{_signed(d)}</text>'
            )
        for k, x in enumerate(np.unique(self.x.to_value(u.mm))):
            marks.append(
                f'<text x="{100 * k + 50}" y="{high + 16}" text-anchor="middle" fill="{style.INK}">{_signed(x, 1)}</text>'
            )
        for k, y in enumerate(np.unique(self.y.to_value(u.mm))[::-1]):
            marks.append(
                f'<text x="-8" y="{100 * k + 54}" text-anchor="end" fill="{style.INK}">{_signed(y, 1)}</text>'
            )
        axes = (
            f'<text x="{wide / 2}" y="{high + 34}" text-anchor="middle">x from the middle of the sensor (mm)</text>'
            f'<text x="-44" y="{high / 2}" text-anchor="middle" transform="rotate(-90 -44 {high / 2})">y (mm)</text>'
        )
        bar = 50 / (2 * HALF_WIDTH) * 100
        told = (
            f"{COLUMNS} by {ROWS} stars over the sensor; focus off by {self.defocus.value.min():.0f} to "
            f"{self.defocus.value.max():.0f} micrometers"
        )
        card = (
            '<figure class="sa-card sa-full"><figcaption><b>Stars over the sensor</b></figcaption>'
            f'<svg viewBox="-60 0 {wide + 60} {high + 66}" role="img" aria-label="{told}" {_pictures._LETTERS} '
            f'font-size="13" fill="#fff">'
            f'<image href="{address}" width="{wide}" height="{high}" preserveAspectRatio="none"/>{"".join(marks)}'
            f'<g fill="{style.INK}" font-size="14">{axes}<path d="M4 {high + 53} h{bar:.1f}" stroke="{style.INK}" '
            f'stroke-width="3"/><text x="{bar + 12:.1f}" y="{high + 58}">50 µm in each star\'s picture; numbers: sensor '
            "outside (+) or inside (−) focus, µm</text></g></svg></figure>"
        )
        return _pictures.sheet(
            self.numbers,
            [card],
            f"Sensor {WIDTH} x {HEIGHT} mm, one color ({self.wavelength.to_value(u.nm):.0f} nm), without seeing and pixels.",
        )

    def _repr_html_(self) -> str:
        return _pictures.STYLE + self.html()


def draw_field(
    *,
    focus: u.Quantity | str = 0 * u.um,
    tilt_x: u.Quantity | str = 0 * u.um,
    tilt_y: u.Quantity | str = 0 * u.um,
    sag: u.Quantity | str = 0 * u.um,
    astigmatism: u.Quantity | str = 0 * u.um,
    coma: u.Quantity | str = 0 * u.nm,
    reducer: u.Quantity | str = 0 * u.mm,
    focal_ratio: float = 5.0,
    wavelength: u.Quantity | str = 550 * u.nm,
) -> FieldSheet:
    """Draw stars over a sensor of 23.4 x 15.6 mm.

    Parameters
    ----------
    focus : Quantity or str
        Sensor's middle against its best focus, positive outside.
    tilt_x, tilt_y : Quantity or str
        How much farther from the objective the right (upper) edge of the sensor lies than the left (lower) one.
    sag : Quantity or str
        Best focus at the corner against that in the middle; negative = towards the objective.
    astigmatism : Quantity or str
        Tangential less sagittal focus at the corner.
    coma : Quantity or str
        Coma at the corner, RMS.
    reducer : Quantity or str
        How much too near an invented reducer stands to the sensor; a millimeter adds -60 um of sag and 40 um of
        astigmatism at the corner. Real reducers differ, also in sign.
    focal_ratio : float
        Focal length over aperture.
    wavelength : Quantity or str
        Of the light.

    Returns
    -------
    FieldSheet
        Stars and numbers.
    """
    near = _units.number(reducer, u.mm, "reducer")
    corner = float(np.hypot(WIDTH, HEIGHT) / 2)
    errors = FieldErrors(
        tilt=(
            _units.number(tilt_x, u.um, "tilt_x") / WIDTH * u.um / u.mm,
            _units.number(tilt_y, u.um, "tilt_y") / HEIGHT * u.um / u.mm,
        ),
        curvature=(_units.number(sag, u.um, "sag") + SAG_PER_MM * near)
        / corner**2
        * u.um
        / u.mm**2,
        astigmatism=(_units.number(astigmatism, u.um, "astigmatism") + SPLIT_PER_MM * near)
        / corner**2
        * u.um
        / u.mm**2,
        coma=_units.number(coma, u.nm, "coma") / corner * u.nm / u.mm,
    )
    ratio = _units.number(focal_ratio, "", "focal_ratio")
    light = _units.quantity(wavelength, u.nm, "wavelength")
    x, y = _grid()
    drawn: dict[str, Any] = _gateway.call(
        "simulation.field-preview",
        {
            "field": errors.request(),
            "pupil": {},
            "focal_ratio": ratio,
            "wavelength_nm": light.to_value(u.nm),
            "focus_position_um": _units.number(focus, u.um, "focus"),
            "x_mm": x.tolist(),
            "y_mm": y.tolist(),
            "half_width_um": HALF_WIDTH,
            "points": POINTS,
        },
    )
    return FieldSheet(
        errors,
        ratio,
        light,
        x * u.mm,
        y * u.mm,
        drawn["defocus_um"] * u.um,
        drawn["rms_nm"] * u.nm,
        drawn["images"].reshape(-1, POINTS, POINTS),
    )


def _signed(value: float, digits: int = 0) -> str:
    """A number with its sign, nothing as a plain 0."""
    text = f"{value:+.{digits}f}"
    return f"{0:.{digits}f}" if float(text) == 0 else text.replace("-", "−")


def _grid() -> tuple[np.ndarray, np.ndarray]:
    """Places of the stars, mm: from the lower left row by row, the outer ones at the rim."""
    x, y = np.meshgrid(
        np.linspace(-WIDTH / 2, WIDTH / 2, COLUMNS), np.linspace(-HEIGHT / 2, HEIGHT / 2, ROWS)
    )
    return x.ravel(), y.ravel()
