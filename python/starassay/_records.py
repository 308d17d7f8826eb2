"""The engine's records, with names, units, ranges and texts. Written by tests/make_records.py from the engine's own records; do not edit."""

from __future__ import annotations

import dataclasses
from typing import Any, ClassVar

import numpy as np
from astropy import units as u

from ._record import Field, QuantityKind, Record, Request
from ._values import Measured, Note

# fmt: off

#: One mode of a measured wavefront.
ADVICE_MODE = Request(
    Field('noll', 'noll', '', 'integer', 'Noll index.'),
    Field('coefficient', 'coefficient_nm', 'nm', 'number', 'Coefficient, nm RMS.'),
    Field('uncertainty', 'uncertainty_nm', 'nm', 'number', 'Its standard uncertainty, nm.'),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Wavelength at which it was measured, nm; NaN: that of the request.'),
)

#: What is known when advice is asked for; NaN = not measured.
ADVICE_REQUEST = Request(
    Field('design', 'design', '', 'choice', 'Kind of telescope.', default='unknown', choices=('unknown', 'refractor', 'newtonian', 'compound')),
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Aperture, mm.', required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length, mm.', required=True),
    Field('pupil', 'pupil', '', 'record', 'Pupil.'),
    Field('modes', 'modes', '', 'records', 'Modes of the measured wavefront.'),
    Field('quantities', 'quantities', '', 'records', 'What was measured or stated, by the names of QuantityCatalog: the first of a name counts. Used are star_fwhm and seeing; others do no harm.'),
    Field('pixel_scale', 'pixel_scale_arcsec_per_px', 'arcsec / pix', 'number', 'Side of a pixel on the sky; NaN = not known.'),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Wavelength of the modes, nm, where they do not say it. This and what follows holds where no quantity says so.', default=550),
    Field('strehl', 'strehl', '', 'number', "Strehl ratio of the wavefront. Not used: the modes say what the optics do to a star's width."),
    Field('noll', 'noll', '', 'array 1 i4', 'Noll indices of the measured modes.'),
    Field('coefficients', 'coefficients_nm', 'nm', 'array 1 f8', 'Their coefficients, nm RMS.'),
    Field('uncertainties', 'uncertainties_nm', 'nm', 'array 1 f8', 'Their standard uncertainties, nm.'),
    Field('star_fwhm', 'star_fwhm_arcsec', 'arcsec', 'number', "FWHM of the stars of a focused field, their pixels' blur taken out, arcsec."),
    Field('star_fwhm_uncertainty', 'star_fwhm_uncertainty', '', 'number', 'Its standard uncertainty.'),
    Field('seeing_fwhm', 'seeing_fwhm_arcsec', 'arcsec', 'number', 'FWHM of the seeing alone, arcsec, when measured or stated.'),
    Field('seeing_fwhm_uncertainty', 'seeing_fwhm_uncertainty', '', 'number', 'Its standard uncertainty.'),
    Field('pixel', 'pixel_arcsec', 'arcsec', 'number', 'Side of a pixel on the sky, arcsec.'),
    Field('field_wavelength', 'field_wavelength_nm', 'nm', 'number', 'Wavelength of the star field, nm.', default=550),
)

#: A star out of focus, in one image or in one from each side of focus, and what is known of the telescope.
ALIGNMENT_REQUEST = Request(
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the entrance pupil, mm.', low=5, high=20000, required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, reducer included, mm.', low=10, high=500000, required=True),
    Field('pupil', 'pupil', '', 'record', 'What lets light through; where the obstruction stands is found.'),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Middle of the passband, nm.', low=200, high=20000, required=True),
    Field('band', 'band_nm', 'nm', 'number', 'Full width of the passband, nm.', default=0, low=0, high=2000),
    Field('pitch', 'pitch_um', 'um', 'number', "Pixel pitch, binning included, um; NaN = the frames' own.", low=0.1, high=1000),
    Field('side', 'side', '', 'choice', 'Side of focus of a single image.', default='unknown', choices=('unknown', 'inside', 'outside')),
    Field('top', 'top_deg', 'deg', 'number', 'Direction in the first image, from +x towards +y, in which the shadow of a hand before the top of the aperture falls, deg.', low=-360, high=360),
    Field('right', 'right_deg', 'deg', 'number', 'The same for a hand before the right-hand edge, as seen by somebody who looks along the tube to the sky, deg.', low=-360, high=360),
    Field('paraboloid', 'paraboloid', '', 'flag', 'Whether the objective is a single paraboloid (Newtonian), whose coma tells how far the star stands from its axis.', default=False),
    Field('scale_uncertainty', 'scale_uncertainty', '', 'number', 'Relative standard uncertainty of focal ratio times pitch.', default=0.005, low=0, high=0.2),
    Field('wind', 'wind_m_per_s', 'm / s', 'number', 'Speed of the air that carries the seeing, m/s, for the turbulence left in a finite exposure.', default=6, low=0.1, high=100),
)

#: All verdicts, and what hangs on them.
ANSWER_REQUEST = Request(
    Field('claims', 'claims', '', 'records', 'Every claim and requirement.'),
    Field('adjustable', 'adjustable', '', 'texts', 'What a user can adjust, in a word each: "coma", "focus".'),
    Field('return_by', 'return_by', '', 'text', 'Until when it can be returned, as it is to be read; empty for no such date.', default=''),
    Field('days_left', 'days_left', '', 'number', 'Days until then; NaN without a date, negative when it has passed.'),
    Field('cost_of_keeping', 'cost_of_keeping', '', 'number', 'What it costs to keep one that is not good enough, in any currency; NaN when not stated.'),
    Field('cost_of_returning', 'cost_of_returning', '', 'number', 'What it costs to return one that is good enough; NaN when not stated.'),
)

#: Correlation of two entries, named by their place in the list from 0.
BUDGET_CORRELATION = Request(
    Field('first', 'first', '', 'integer', 'One entry.'),
    Field('second', 'second', '', 'integer', 'Another.'),
    Field('coefficient', 'coefficient', '', 'number', 'Between -1 and 1.'),
)

#: One source of uncertainty that is to be combined with others.
BUDGET_ENTRY = Request(
    Field('uncertainty', 'uncertainty', '', 'number', "Standard uncertainty of the input quantity, in the input's unit; at least 0.", required=True),
    Field('sensitivity', 'sensitivity', '', 'number', 'Change of the result for one unit of the input.', default=1),
    Field('degrees_of_freedom', 'degrees_of_freedom', '', 'number', 'Degrees of freedom; infinite when the uncertainty itself is taken as known.'),
    Field('source', 'source', '', 'text', '', required=True),
    Field('kind', 'kind', '', 'text', '', default='B'),
    Field('input', 'input', '', 'text', '', default=''),
    Field('averages', 'averages', '', 'flag', '', default=False),
)

#: What is to be combined.
BUDGET_REQUEST = Request(
    Field('value', 'value', '', 'number', "The result's value.", required=True),
    Field('unit', 'unit', '', 'text', 'Its unit.', default=''),
    Field('entries', 'entries', '', 'records', 'Every source of uncertainty.', required=True),
    Field('correlations', 'correlations', '', 'records', 'Pairs of entries that are not independent.'),
    Field('coverage_probability', 'coverage_probability', '', 'number', 'Probability that the expanded interval is to hold.', default=0.95),
)

#: A claim, and what simulated nights would have measured and stated.
CHANCE_REQUEST = Request(
    Field('claim', 'claim', '', 'record', 'The claim or requirement.', required=True),
    Field('truth', 'truth', '', 'number', "The value that was true in all nights, in the claim's unit.", required=True),
    Field('rows', 'rows', '', 'integer', 'Rows of both: how many numbers of pairs were tried.', low=1, high=1000, required=True),
    Field('unit_factor', 'unit_factor', '', 'number', "How many of the claim's units are one of the values'.", default=1),
    Field('risk', 'risk', '', 'number', 'Largest accepted probability that "met" or "not met" is wrong.', default=0.05),
    Field('wanted', 'wanted', '', 'number', 'Share of the nights that shall be decided, and rightly.', default=0.9, low=0.5, high=0.999),
    Field('counted', 'counted', '', 'text', 'What is counted, in the plural: "pairs of 20 s".', default='pairs'),
)

#: A range that a quantity shall lie in.
CLAIM = Request(
    Field('name', 'name', '', 'text', 'Short name for tables.', required=True),
    Field('kind', 'kind', '', 'choice', 'Claim or requirement.', default='claim', choices=('claim', 'requirement')),
    Field('lower', 'lower', '', 'number', 'Least value allowed; minus infinity when there is none.'),
    Field('upper', 'upper', '', 'number', 'Largest value allowed; infinity when there is none.'),
    Field('unit', 'unit', '', 'text', 'Unit of both.', default=''),
    Field('range', 'range', '', 'text', '"at least 0.95", for sentences.'),
)

#: Everything the color focus measurement needs besides the frames.
COLOR_FOCUS_REQUEST = Request(
    Field('focal_ratio', 'focal_ratio', '', 'number', 'Focal length over aperture.', required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length in mm; NaN leaves figures in arcsec out.'),
    Field('obstruction', 'obstruction', '', 'number', 'Ratio of the diameters of the central obstruction and the aperture.', default=0),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch in um; NaN takes that of the frames.'),
    Field('positions', 'positions_um', 'um', 'array 1 f8', 'Sensor position of each frame in um, growing away from the objective; one frame needs none.'),
    Field('wavelengths', 'wavelengths_nm', 'nm', 'array 1 f8', 'Wavelength of each column of the first frame, nm.', required=True),
    Field('wavelength_uncertainty', 'wavelength_uncertainty_px', 'pix', 'number', 'Standard uncertainty of the wavelength scale as a whole, columns: calibration, and lines that mix into their neighbors. Its share in the curve is this times the slope.', default=0.2),
    Field('wavelength_modes', 'wavelength_modes_nm', 'nm', 'array 1 f8', 'Independent ways in which the wavelength scale may be off, modes x columns flattened, nm for one standard deviation; empty = not known. They come on top of the shift of the whole.'),
    Field('scale_from', 'scale_from_nm', 'nm', 'number', 'Shortest wavelength of a line that the scale rests on; NaN = not known.'),
    Field('scale_to', 'scale_to_nm', 'nm', 'number', 'Longest wavelength of a line that the scale rests on; NaN = not known.'),
    Field('reference', 'reference_nm', 'nm', 'number', "Wavelength whose focus is the curve's zero.", default=550),
    Field('limits', 'limits_nm', 'nm', 'array 1 f8', 'Shortest and longest wavelength used.'),
    Field('band', 'band_nm', 'nm', 'array 1 f8', 'Edges of the band whose figures of merit come with the result; empty = none.'),
    Field('disperser', 'disperser', '', 'choice', 'Grating or prism.', default='converging-grating', choices=('converging-grating', 'parallel-grating', 'prism')),
    Field('grating_lines', 'grating_lines_per_mm', '1 / mm', 'number', 'Grooves per mm of a grating in the converging beam; NaN = not known.'),
    Field('grating_distance', 'grating_distance_mm', 'mm', 'number', 'Distance of that grating from the sensor, mm.'),
    Field('order_filter', 'order_filter', '', 'flag', 'True when a filter keeps the second order out.', default=False),
    Field('shortest_light', 'shortest_light_nm', 'nm', 'number', 'Shortest wavelength at which the set-up passes light; NaN = from the spectrum, else 380 nm.'),
    Field('instrument_blur', 'instrument_blur_um', 'um', 'number', 'RMS blur of the camera and spectrograph themselves, um; NaN or 0 = not known, then it is fitted.'),
    Field('reference_curve_wavelength', 'reference_curve_wavelength_nm', 'nm', 'array 1 f8', "Wavelengths of a reference telescope's curve with the same spectrograph; empty = none."),
    Field('reference_curve_shift', 'reference_curve_shift_um', 'um', 'array 1 f8', 'Its shifts in um.'),
    Field('reference_curve_uncertainty', 'reference_curve_uncertainty_um', 'um', 'array 1 f8', 'Their standard uncertainties; may be empty.'),
    Field('sign_hint', 'sign_hint', '', 'choice', 'For one spectrum: what is known of the sign.', default='none', choices=('none', 'blue-longer', 'blue-shorter')),
    Field('defocus', 'defocus_um', 'um', 'number', 'For one spectrum set out of focus on purpose: sensor minus best focus of the reference wavelength, um, positive = away from the objective. Its sign decides on which side of focus the colors lie; its size need be right to a third only. NaN = not set out, or not known.'),
    Field('replicates', 'replicates', '', 'integer', 'Bootstrap replicates.', default=200),
    Field('seed', 'seed', '', 'integer', 'Seed of the bootstrap.', default=1),
    Field('reduction', 'reduction', '', 'record', 'How frames are reduced.'),
)

#: Coma of several stars at different places of the sensor, each from its own defocused disc.
COMA_AXIS_REQUEST = Request(
    Field('x', 'x', 'pix', 'array 1 f8', 'Column of each star.', low=-100000, high=1000000, required=True),
    Field('y', 'y', 'pix', 'array 1 f8', 'Row of each star.', low=-100000, high=1000000, required=True),
    Field('coma_x', 'coma_x', 'nm', 'array 1 f8', 'Noll 8 of each star.', low=-100000, high=100000, required=True),
    Field('coma_y', 'coma_y', 'nm', 'array 1 f8', 'Noll 7 of each star.', low=-100000, high=100000, required=True),
    Field('variance_x', 'variance_x', 'nm2', 'array 1 f8', 'Variance of each Noll 8 by photons and misfit.', low=0, high=10000000000, required=True),
    Field('variance_y', 'variance_y', 'nm2', 'array 1 f8', 'Variance of each Noll 7.', low=0, high=10000000000, required=True),
    Field('covariance', 'covariance', 'nm2', 'array 1 f8', 'Covariance of both.', low=-10000000000, high=10000000000, required=True),
    Field('air', 'air_nm', 'nm', 'array 1 f8', 'Standard uncertainty of each component by moving air.', low=0, high=100000, required=True),
    Field('together', 'together', '', 'flag', 'Whether all stars were exposed together, so that what air leaves is the same in all.', default=False),
    Field('width', 'width', '', 'integer', 'Columns of the frames.', low=16, high=1000000, required=True),
    Field('height', 'height', '', 'integer', 'Rows of the frames.', low=16, high=1000000, required=True),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, binning included, um.', low=0.1, high=1000, required=True),
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the entrance pupil, mm.', low=5, high=20000, required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, mm.', low=10, high=500000, required=True),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Middle of the passband, nm.', low=200, high=20000, required=True),
    Field('paraboloid', 'paraboloid', '', 'flag', 'Whether the objective is a single paraboloid without a corrector (Newtonian), the growth of whose coma is known.', default=False),
    Field('scale_uncertainty', 'scale_uncertainty', '', 'number', 'Relative standard uncertainty of the focal ratio.', default=0.005, low=0, high=0.2),
    Field('doubtful', 'doubtful', '', 'texts', 'Stars whose own alignment is in doubt, in words.'),
)

#: Quantities of several measurements of one thing:
COMBINE_REQUEST = Request(
    Field('measurements', 'measurements', '', 'records', 'The quantities of each measurement; one that has none takes no part.', required=True),
)

#: One side of a comparison:
COMPARED_SIDE = Request(
    Field('name', 'name', '', 'text', 'Name of the telescope, or of its state.', required=True),
    Field('quantity', 'quantity', '', 'record', 'What was measured.', required=True),
    Field('seeing', 'seeing', '', 'record', 'The seeing of that night; null when not known.'),
    Field('diagonal', 'diagonal_mm', 'mm', 'number', 'Diagonal of the sensor, mm; NaN when not known.'),
    Field('basis', 'basis', '', 'text', 'What the number is for beside its wavelength, such as a band; empty for nothing.', default=''),
)

#: One quantity measured on two instruments on the same footing.
COMPARISON_REQUEST = Request(
    Field('quantity', 'quantity', '', 'text', 'Name of the quantity.', required=True),
    Field('first_name', 'first_name', '', 'text', 'Name of the first instrument.', required=True),
    Field('second_name', 'second_name', '', 'text', 'Name of the second.', required=True),
    Field('first', 'first', '', 'number', 'Value on the first.', required=True),
    Field('first_uncertainty', 'first_uncertainty', '', 'number', 'Its standard uncertainty.', required=True),
    Field('second', 'second', '', 'number', 'Value on the second.', required=True),
    Field('second_uncertainty', 'second_uncertainty', '', 'number', 'Its standard uncertainty.', required=True),
    Field('correlation', 'correlation', '', 'number', 'Correlation of the two (same camera, same night): -1 to 1.', default=0),
    Field('unit', 'unit', '', 'text', 'Unit of both.', default=''),
    Field('larger_is_better', 'larger_is_better', '', 'flag', 'True when a larger value is the better one.', default=True),
    Field('coverage_factor', 'coverage_factor', '', 'number', 'Coverage factor of the score.', default=2),
)

#: Low modes of several pairs of one night, each pair fitted alone.
COURSE_REQUEST = Request(
    Field('time_h', 'time_h', '', 'array 1 f8', 'Middle of each pair, hours from any start, ascending.', required=True),
    Field('coefficient', 'coefficient_nm', 'nm', 'array 1 f8', 'Noll 5 to 11 of each pair, pair after pair, nm.', required=True),
    Field('variance', 'variance_nm2', 'nm2', 'array 1 f8', 'Variance of each of them in one pair by photons and misfit, nm^2.', required=True),
    Field('air', 'air_nm2', 'nm2', 'array 1 f8', 'Variance of each of them in one pair by the air that a finite exposure leaves, nm^2.', required=True),
    Field('focus', 'focus_um', 'um', 'array 1 f8', 'Best focus of each pair; empty: not known.'),
    Field('focus_uncertainty', 'focus_uncertainty_um', 'um', 'number', 'Standard uncertainty of it in one pair, um.', default=0),
)

#: A claim and the measurement that is held against it.
DECISION_REQUEST = Request(
    Field('claim', 'claim', '', 'record', 'The range that must be kept.', required=True),
    Field('value', 'value', '', 'number', "Measured value in the claim's unit; NaN when there is none."),
    Field('uncertainty', 'uncertainty', '', 'number', 'Its combined standard uncertainty.'),
    Field('random_part', 'random_part', '', 'number', 'The part of it that averages out over more frames; NaN when not known.'),
    Field('may_be_less', 'may_be_less', '', 'number', 'By how much the true value may lie below the value besides its uncertainty: a bound; 0 = nothing.', default=0),
    Field('may_be_more', 'may_be_more', '', 'number', 'The same above the value.', default=0),
    Field('degrees_of_freedom', 'degrees_of_freedom', '', 'number', 'Degrees of freedom of the uncertainty.'),
    Field('count', 'count', '', 'integer', 'How many frames or pairs the value rests on.', default=1),
    Field('counted', 'counted', '', 'text', 'What is counted, in the plural: "pairs", "frames".', default='frames'),
    Field('risk', 'risk', '', 'number', 'Largest accepted probability that "met" or "not met" is wrong.', default=0.05),
    Field('doubts', 'doubts', '', 'texts', 'Reasons why the number must not decide, each a sentence; empty when there are none.'),
    Field('other_conditions', 'other_conditions', '', 'text', 'How the conditions of claim and measurement differ, a sentence; empty when they agree.', default=''),
    Field('missing_test', 'missing_test', '', 'text', 'What test would give the number, when there is none: a sentence.', default=''),
)

#: A frame with a bright surface that ends at a dark one, and what made it.
EDGE_CONTRAST_REQUEST = Request(
    Field('subject', 'subject', '', 'choice', "What the edge is of: an even surface, or the Moon's sunlit limb.", default='surface', choices=('surface', 'moon')),
    Field('phase_angle', 'phase_angle_deg', 'deg', 'number', 'Angle Sun - Moon - observer, deg: 0 at full Moon, 90 at the quarters; NaN: not known.', low=0, high=170),
    Field('bias_level', 'bias_level_adu', 'adu', 'number', 'Level without light (bias and dark), ADU; NaN: not known, then glare is not measured.', low=-1000, high=1000000),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, mm.', low=10, high=1000000, required=True),
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Aperture, mm; NaN: no perfect aperture is put beside the result.', low=1, high=50000),
    Field('obstruction', 'obstruction', '', 'number', 'Diameter of the central obstruction over the aperture.', default=0, low=0, high=0.9),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Middle of the passband, nm.', default=550, low=200, high=2000),
    Field('seeing', 'seeing_arcsec', 'arcsec', 'number', 'FWHM of the air alone during the exposure, arcsec, measured otherwise; NaN: the air stays in the result.', low=0.05, high=30),
    Field('seeing_uncertainty', 'seeing_uncertainty_arcsec', 'arcsec', 'number', 'Its standard uncertainty, arcsec; NaN: a tenth of it.', low=0, high=30),
    Field('glare_distance', 'glare_distance_arcmin', 'arcmin', 'number', 'Distance from the edge at which the light in the dark is told, arcmin.', default=1, low=0.01, high=600),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, binning included, um.', low=0.3, high=200, required=True),
)

#: The stars of one frame, the frame itself, and what is known of telescope, air and mount.
FIELD_SHARPNESS_REQUEST = Request(
    Field('width', 'width', '', 'integer', 'Columns of the frame.', low=64, high=1000000, required=True),
    Field('height', 'height', '', 'integer', 'Rows of the frame.', low=64, high=1000000, required=True),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, binning included, um.', low=0.3, high=200, required=True),
    Field('pixel_scale', 'pixel_scale_arcsec_per_px', 'arcsec / pix', 'number', 'Side of a pixel on the sky, arcsec; NaN: not known, so no angles are given.', low=0.001, high=1000),
    Field('scale_from_sky', 'scale_from_sky', '', 'flag', 'Whether the sky itself gave the scale; else it comes from pitch and focal length and is taken as known to 1 %.', default=False),
    Field('blur_limit', 'blur_limit_um', 'um', 'number', 'FWHM that the blur must not exceed, for the sharp circle, um; NaN: 1.2 times that in the middle.', low=0.1, high=10000),
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the objective, mm; NaN: no budget of the blur.', low=1, high=100000),
    Field('obstruction', 'obstruction', '', 'number', 'Diameter of the central obstruction over the aperture.', default=0, low=0, high=0.9),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Middle of the passband, nm.', default=550, low=100, high=30000),
    Field('seeing', 'seeing_arcsec', 'arcsec', 'number', "FWHM of the seeing alone at that wavelength and the stars' altitude, arcsec; NaN: not known.", low=0.05, high=50),
    Field('seeing_uncertainty', 'seeing_uncertainty_arcsec', 'arcsec', 'number', 'Standard uncertainty of the seeing, arcsec.', default=0, low=0, high=50),
    Field('defocus', 'defocus_um', 'um', 'number', 'How far the middle of the sensor stood from best focus, um; NaN: not known.', low=-100000, high=100000),
    Field('tracking', 'tracking_arcsec', 'arcsec', 'number', "RMS of the mount's errors in each axis during the exposure, arcsec; NaN: not known.", low=0, high=50),
)

#: Stars of a focus run, frame after frame, all measured within one outer radius.
FOCUS_SURFACE_REQUEST = Request(
    Field('stars', 'stars', '', 'array 1 i4', 'Stars of each frame.', required=True),
    Field('positions', 'positions_um', 'um', 'array 1 f8', 'Sensor position of each frame, growing away from the objective, um.', required=True),
    Field('names', 'names', '', 'texts', 'Names of the frames, for messages.'),
    Field('width', 'width', '', 'integer', 'Columns of the frames.', low=64, high=1000000, required=True),
    Field('height', 'height', '', 'integer', 'Rows of the frames.', low=64, high=1000000, required=True),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, binning included, um.', low=0.3, high=200, required=True),
    Field('focal_ratio', 'focal_ratio', '', 'number', 'Focal length over aperture.', low=1, high=100, required=True),
    Field('obstruction', 'obstruction', '', 'number', 'Diameter of the central obstruction over the aperture.', default=0, low=0, high=0.9),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Middle of the passband, for the depth of focus, nm.', default=550, low=100, high=30000),
)

#: One instrument's value of the quantity in which instruments are compared.
INSTRUMENT_QUANTITY = Request(
    Field('name', 'name', '', 'text', 'The instrument.'),
    Field('quantity', 'quantity', '', 'record', 'Its value.'),
)

#: A claim or requirement with its verdict.
JUDGED_CLAIM = Request(
    Field('name', 'name', '', 'text', 'For sentences.'),
    Field('verdict', 'verdict', '', 'choice', 'Met, not met, not decided.', choices=('met', 'not-met', 'not-decided')),
    Field('probability', 'probability', '', 'number', 'That it is met; NaN without a number.'),
    Field('next_test', 'next_test', '', 'text', 'What would decide it.'),
    Field('welcome', 'welcome', '', 'flag', 'True when it is welcome, but nothing hangs on it.'),
    Field('quantity', 'quantity', '', 'text', 'What it is about, by its name in QuantityCatalog; empty when not told.'),
)

#: A claim about a quantity, and what was measured.
JUDGMENT_REQUEST = Request(
    Field('claim', 'claim', '', 'record', 'The range that must be kept.', required=True),
    Field('quantity', 'quantity', '', 'text', 'Name of the quantity that the claim is about (QuantityCatalog).', required=True),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Wavelength for which the claim is made; NaN when it names none.'),
    Field('measured', 'measured', '', 'records', 'What was measured, in the order in which the tests are to be asked: the first that gives the quantity decides.'),
    Field('unit_factor', 'unit_factor', '', 'number', "How many of the claim's units are one of the quantity's (0.001 for a claim in um about a quantity in nm).", default=1),
    Field('risk', 'risk', '', 'number', 'Largest accepted probability that "met" or "not met" is wrong.', default=0.05),
    Field('doubts', 'doubts', '', 'texts', 'Further reasons why the number must not decide, each a sentence.'),
)

#: How well the fixed quantities are known:
KNOWN_TO = Request(
    Field('scale', 'scale', '', 'number', 'Focal ratio times pitch: the image scale.', default=0.005),
    Field('wavelength', 'wavelength', '', 'number', 'Mean wavelength.', default=0.005),
    Field('obstruction', 'obstruction', '', 'number', 'Central obstruction (of the ratio itself).', default=0.01),
    Field('vane_width', 'vane_width', '', 'number', 'Width of the vanes (of the width itself).', default=0.1),
    Field('band', 'band', '', 'number', 'Shares of the light in the band: by how much the end of the band may hold more than the middle.', default=0.1),
    Field('response', 'response', '', 'number', 'Response of the camera behind the star (flat field, dust, vignetting): difference from one edge of the disc to the other.', default=0.01),
    Field('linearity', 'linearity', '', 'number', 'Linearity of the camera: departure from a straight line at the brightest pixel.', default=0.005),
    Field('trail', 'trail_arcsec', 'arcsec', 'number', "Blur along one direction beyond that across (guiding, wind, the air's dispersion in the band), RMS, arcsec.", default=0.3),
    Field('shadow_place', 'shadow_place', '', 'number', 'Place of the central obstruction, radii of the aperture along each axis: a secondary set off axis, or a star away from the axis.', default=0.02),
    Field('wind_ms', 'wind_ms', '', 'number', 'Speed of the air that carries the seeing, m/s, for the turbulence left in a finite exposure.', default=6),
    Field('tube_excess_k', 'tube_excess_k', '', 'number', 'Temperature of the tube against the air, K; 0 = taken as cooled. Only named in the budget, not computed.', default=0),
)

#: Stars of two or more colors, color after color, in pixels of the frame.
LATERAL_COLOR_REQUEST = Request(
    Field('stars', 'stars', '', 'array 1 i4', 'Stars of each color.', required=True),
    Field('colors', 'colors', '', 'texts', 'Name of each color.', required=True),
    Field('reference', 'reference', '', 'integer', 'Number of the color that the others are compared with.', default=0, low=0, high=1000),
    Field('wavelengths', 'wavelengths_nm', 'nm', 'array 1 f8', 'Middle of each passband; empty: known for red, green and blue only.', low=100, high=30000),
    Field('one_exposure', 'one_exposure', '', 'flag', 'All colors were taken in one exposure, by one sensor: nothing moved between them.', default=False),
    Field('width', 'width', '', 'integer', 'Columns of the frames.', low=64, high=1000000, required=True),
    Field('height', 'height', '', 'integer', 'Rows of the frames.', low=64, high=1000000, required=True),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, binning included, um.', low=0.3, high=200, required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, mm; NaN: no angles.', low=10, high=1000000),
    Field('focal_ratio', 'focal_ratio', '', 'number', 'Focal length over aperture; NaN: no share of the Airy disc.', low=1, high=100),
    Field('altitude', 'altitude_deg', 'deg', 'number', "Altitude of the field; NaN: atmospheric dispersion stays mixed with the telescope's constant part.", low=10, high=90),
    Field('zenith_direction', 'zenith_direction_deg', 'deg', 'number', 'Direction of the zenith on the frame, from +x towards +y; NaN: unknown.', low=-360, high=360),
)

#: A lens by its glasses.
LENS_COLOR_REQUEST = Request(
    Field('glasses', 'glasses', '', 'texts', 'Names of one, two or three glasses.', required=True),
    Field('powers', 'powers', '', 'array 1 f8', 'Powers; empty = the glasses unite F and C (two) or F, C and g (three).'),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length, mm.', required=True),
    Field('wavelengths', 'wavelengths_nm', 'nm', 'array 1 f8', 'Wavelengths, nm.'),
    Field('reference', 'reference_nm', 'nm', 'number', 'Zero of the curve.', default=550),
    Field('first', 'first_nm', 'nm', 'number', 'First wavelength united.', default=486.1327),
    Field('second', 'second_nm', 'nm', 'number', 'Second wavelength united.', default=656.2725),
    Field('third', 'third_nm', 'nm', 'number', 'Third wavelength united.', default=435.8343),
)

#: Several measurements of one quantity.
MEAN_REQUEST = Request(
    Field('values', 'values', '', 'array 1 f8', 'Their values.', required=True),
    Field('uncertainties', 'uncertainties', '', 'array 1 f8', 'Their standard uncertainties, without what they have in common.', required=True),
    Field('common', 'common', '', 'number', 'Standard uncertainty that all of them share (scale, wavelength, telescope data).', default=0),
    Field('unit', 'unit', '', 'text', 'Unit of all of these.', default=''),
)

#: A curve, the light it is weighed with and the band.
MERIT_REQUEST = Request(
    Field('wavelength', 'wavelength_nm', 'nm', 'array 1 f8', 'Wavelengths of the curve, nm.', required=True),
    Field('shift', 'shift_um', 'um', 'array 1 f8', 'Focus at each, um.', required=True),
    Field('weight', 'weight', '', 'array 1 f8', 'Photons x transmission x detector at each wavelength, per nm, any scale; empty = a star of `light`.'),
    Field('light', 'light_kelvin', 'K', 'number', 'Without weights: temperature of a star whose light falls on a silicon sensor, K; NaN = flat light.'),
    Field('focal_ratio', 'focal_ratio', '', 'number', 'Focal length over aperture.', required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length, mm; NaN leaves arcsec out.'),
    Field('obstruction', 'obstruction', '', 'number', 'Central obstruction.', default=0),
    Field('band', 'band_nm', 'nm', 'array 1 f8', 'Edges of the band.'),
    Field('passband', 'passband', '', 'text', 'Passband with a source ("V(lambda)", "B", "V", "R") that the light goes through besides; its own edges then stand for those given, as far as the curve reaches. Empty = straight edges alone.', default=''),
    Field('reference', 'reference_nm', 'nm', 'number', "Wavelength of the curve's zero.", default=550),
    Field('focus', 'focus', '', 'choice', 'Where the sensor stands.', default='best-strehl', choices=('best-strehl', 'best-in-focus', 'least-blur', 'reference')),
    Field('halo_radius', 'halo_radius_um', 'um', 'number', 'Radius beyond which light counts as halo, um; NaN = three Airy radii at the reference wavelength.'),
    Field('wanted_strehl', 'wanted_strehl', '', 'number', 'Polychromatic Strehl ratio wanted of the passband that is looked for.', default=0.8),
)

#: The Moon's limb in front of a telescope.
MOON_LIMB_REQUEST = Request(
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the entrance pupil, mm.', required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, mm.', required=True),
    Field('obstruction', 'obstruction', '', 'number', 'Central obstruction, ratio of diameters.', default=0),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, um.', required=True),
    Field('bandwidth', 'bandwidth_nm', 'nm', 'number', 'Full width of the filter about 550 nm, nm.', default=300, low=0.01, high=800),
    Field('efficiency', 'efficiency', '', 'number', 'Electrons for a photon that reaches the objective.', default=0.5, low=0.001, high=1),
    Field('level', 'level_electrons', 'electron', 'number', 'Level that the brightest pixel is to stay below, electrons.', required=True),
    Field('lit_share', 'lit_share', '', 'number', 'Lit share of the disc.', low=0.01, high=1, required=True),
)

#: Star frames of one night in order of time, the stars of one frame after those of the other.
NIGHT_CONDITIONS_REQUEST = Request(
    Field('stars', 'stars', '', 'array 1 i4', 'Stars of each frame.', required=True),
    Field('focus_is_length', 'focus_is_length', '', 'flag', 'Whether focuser positions are um; else steps. Focus runs are always in um.', default=False),
    Field('pixel_scale', 'pixel_scale_arcsec_per_px', 'arcsec / pix', 'number', 'Side of a pixel on the sky.', low=0.001, high=1000, required=True),
    Field('scale_from_sky', 'scale_from_sky', '', 'flag', 'Whether that comes from the sky; a nominal one is known to 1 %.', default=False),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Middle of the passband; NaN: 550 nm.', low=100, high=30000),
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the objective; NaN: not known, diffraction is not taken off.', low=1, high=100000),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor; NaN: not known.', low=1, high=1000000),
    Field('obstruction', 'obstruction', '', 'number', 'Diameter of the central obstruction over the aperture.', default=0, low=0, high=0.9),
)

#: Several instruments to be put in order.
ORDER_REQUEST = Request(
    Field('instruments', 'instruments', '', 'records', 'At least two, all with the same quantity.', required=True),
    Field('correlation', 'correlation', '', 'number', 'Correlation of any two values (same camera, same night): -1 to 1.', default=0),
    Field('coverage_factor', 'coverage_factor', '', 'number', 'Coverage factor of the scores.', default=2),
)

#: Pairs that are still to be taken:
PAIR_PLAN_REQUEST = Request(
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the entrance pupil, mm.', required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, mm.', required=True),
    Field('pupil', 'pupil', '', 'record', 'Pupil.'),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Wavelength of the narrow filter, nm.', required=True),
    Field('noll', 'noll', '', 'array 1 i4', 'Noll numbers of the wavefront that is assumed, 5 to 22.'),
    Field('coefficients', 'coefficients_nm', 'nm', 'array 1 f8', 'Their coefficients, nm RMS.'),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, um.', required=True),
    Field('gain', 'gain_electrons_per_adu', 'electron / adu', 'number', 'Electrons for one ADU.', default=1),
    Field('read_noise', 'read_noise_electrons', 'electron', 'number', 'Read noise, RMS electrons.', default=3),
    Field('defocus', 'defocus_um', 'um', 'number', 'Defocus to either side, um.', required=True),
    Field('light', 'light_electrons', 'electron', 'number', 'Electrons of the star in one image.', required=True),
    Field('exposure', 'exposure_s', 's', 'number', 'Exposure of one image, s.', required=True),
    Field('seeing', 'seeing_arcsec', 'arcsec', 'number', "Seeing at the star's altitude and at the wavelength, FWHM in arcsec.", required=True),
    Field('known_to', 'known_to', '', 'record', 'Standard uncertainties of what will be held fixed, and the speed of the air.'),
    Field('most_pairs', 'most_pairs', '', 'integer', 'Most pairs that are thought of.', default=6, low=1, high=30),
    Field('draws', 'draws', '', 'integer', "Pairs that are drawn with the air's remainder and fitted.", default=6, low=1, high=50),
    Field('nights', 'nights', '', 'integer', 'Nights that are simulated from their covariances.', default=600, low=10, high=100000),
    Field('seed', 'seed', '', 'integer', 'Seed of air and noise.'),
)

#: Places of stars on the frame and in the plane that touches the sky near the field's center.
PLATE_SCALE_REQUEST = Request(
    Field('width', 'width', '', 'integer', 'Columns of the frame.', low=16, high=1000000, required=True),
    Field('height', 'height', '', 'integer', 'Rows of the frame.', low=16, high=1000000, required=True),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, binning included, um.', low=0.3, high=200, required=True),
    Field('pitch_uncertainty', 'pitch_uncertainty_um', 'um', 'number', 'Standard uncertainty of the pitch, um; NaN: 0.1 % of it.', low=0, high=10),
    Field('nominal_focal_length', 'nominal_focal_length_mm', 'mm', 'number', 'Stated focal length of the telescope alone, without reducer or extender, mm; NaN: not known.', low=1, high=1000000),
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the objective, mm, taken as known to 0.5 %; NaN: not known.', low=1, high=100000),
    Field('source', 'source', '', 'choice', 'Where the sky positions come from.', default='list', choices=('list', 'solution')),
)

#: What lets light through:
PUPIL_SHAPE = Request(
    Field('obstruction', 'obstruction', '', 'number', 'Central obstruction, ratio of diameters, 0 to below 1.', default=0),
    Field('obstruction_x', 'obstruction_x', '', 'number', 'Centre of the obstruction from that of the aperture, pupil radii, x.', default=0),
    Field('obstruction_y', 'obstruction_y', '', 'number', 'Centre of the obstruction from that of the aperture, pupil radii, y.', default=0),
    Field('vanes', 'vanes', '', 'records', 'Vanes that hold the secondary mirror, each from the centre to the edge.'),
    Field('vignetting', 'vignetting', '', 'record', 'A circle that cuts off part of the edge (off-axis vignetting), or null.'),
)

#: A number that a claim can be about, with what a decision must know of it.
QUANTITY = Request(
    Field('name', 'name', '', 'text', 'Name from the one list, QuantityCatalog.', required=True),
    Field('value', 'value', '', 'measured', 'Value with its combined standard uncertainty.', required=True),
    Field('random_part', 'random_part', '', 'number', "The part of the uncertainty that averages out over more of what is counted; NaN = not known. In the value's unit."),
    Field('common_part', 'common_part', '', 'number', "The part that all of them share; NaN = not known. In the value's unit."),
    Field('may_be_less', 'may_be_less', '', 'number', "By how much the true value may lie below the value besides its uncertainty: a bound, for what is left out in one direction only; 0 = nothing. In the value's unit.", default=0),
    Field('may_be_more', 'may_be_more', '', 'number', 'The same above the value.', default=0),
    Field('degrees_of_freedom', 'degrees_of_freedom', '', 'number', 'Degrees of freedom of the uncertainty.'),
    Field('count', 'count', '', 'integer', 'How many frames, pairs or spectra it rests on.', default=1),
    Field('counted', 'counted', '', 'text', 'What is counted, in the plural.', default='frames'),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Wavelength at which it holds; NaN where it depends on none.'),
    Field('doubts', 'doubts', '', 'texts', 'Reasons why it must not decide, each a sentence.'),
)

#: One quantity of two telescopes, or of one before and after.
QUANTITY_COMPARISON_REQUEST = Request(
    Field('first', 'first', '', 'record', 'The one that the other is held against.', required=True),
    Field('second', 'second', '', 'record', 'The other.', required=True),
    Field('same_setup', 'same_setup', '', 'flag', 'True when both were measured with one telescope and camera by the same data: what all measurements share then cancels.', default=False),
    Field('coverage_factor', 'coverage_factor', '', 'number', 'Coverage factor of the score.', default=2),
)

#: One prepared pair, starting values and pixel variances:
REFINEMENT_REQUEST = Request(
    Field('window', 'window', '', 'integer', 'Pixels along each side, a multiple of 16.', required=True),
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Entrance pupil, mm.', required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length, mm.', required=True),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, um.', required=True),
    Field('pupil', 'pupil', '', 'record', 'Pupil.'),
    Field('wavelengths', 'wavelengths_nm', 'nm', 'array 1 f8', 'Wavelengths, nm.', required=True),
    Field('weights', 'weights', '', 'array 1 f8', 'Shares of light.', required=True),
    Field('distances', 'distances_um', 'um', 'array 1 f8', 'Sensor positions to start from, um, negative inside.', required=True),
    Field('places', 'places_px', 'pix', 'array 1 f8', "Places of the star from the window's pixel window/2: x0, y0, x1, y1, pixels.", required=True),
    Field('flux', 'flux', '', 'array 1 f8', 'Light of each image to start from, electrons.', required=True),
    Field('background', 'background', '', 'array 1 f8', 'Background of each image to start from, electrons a pixel.', required=True),
    Field('seeing', 'seeing_arcsec', 'arcsec', 'number', 'Seeing to start from, FWHM arcsec.', required=True),
    Field('gaussian', 'gaussian', '', 'flag', "True: a Gaussian instead of Kolmogorov's profile.", default=False),
    Field('last_noll', 'last_noll', '', 'integer', 'Modes from Noll 5 to this one.', default=37),
    Field('tolerance', 'tolerance', '', 'number', 'Ends when a step gains less than this in chi squared.', default=0.001),
)

#: A photo of reflections seen through a sighting eyepiece, and what is known of camera and telescope.
REFLECTIONS_REQUEST = Request(
    Field('distortion', 'distortion', '', 'number', "Radial distortion of the camera's lens: share by which the picture's corner lies farther out than it should; NaN: not known.", low=-0.3, high=0.3),
    Field('distortion_uncertainty', 'distortion_uncertainty', '', 'number', 'Its standard uncertainty; NaN: 0.01 where it is not known, a tenth of it and 0.001 where it is.', low=0, high=0.3),
    Field('field_of_view', 'field_of_view_deg', 'deg', 'number', 'Angle between opposite corners of the whole picture, deg; NaN: not known.', low=2, high=130),
    Field('field_of_view_uncertainty', 'field_of_view_uncertainty_deg', 'deg', 'number', 'Its standard uncertainty, deg; NaN: 3 % of it.', low=0, high=60),
    Field('objective', 'objective', '', 'integer', "Which circle is the objective's edge, counted from the largest; 0: not said.", default=0, low=0, high=12),
    Field('spot', 'spot', '', 'integer', 'Which circle is the dark spot, the reflection of the hole that one looks through, counted from the largest; 0: not said.', default=0, low=0, high=12),
    Field('sight', 'sight', '', 'integer', 'Which circle is the far end of the focuser or of the sighting eyepiece, counted from the largest; 0: not said.', default=0, low=0, high=12),
    Field('objective_diameter', 'objective_diameter_mm', 'mm', 'number', "True diameter of the objective's edge, mm; NaN: not known, then nothing is told in mm.", low=1, high=50000),
    Field('objective_distance', 'objective_distance_mm', 'mm', 'number', 'Way of the light from the sight hole to the objective, flat mirrors unfolded, mm; NaN: not known, then no tilt is told.', low=10, high=1000000),
    Field('surface_radius', 'surface_radius_mm', 'mm', 'number', 'Radius of curvature of the surface that mirrors the hole, mm: positive when hollow (twice the focal length of a main mirror), negative when bulging; NaN: not known, then no tilt of the objective is told.', low=-1000000000, high=1000000000),
    Field('sight_distance', 'sight_distance_mm', 'mm', 'number', "Distance from the sight hole to that far end, mm; NaN: not known, then the focuser's direction is not told.", low=1, high=100000),
    Field('viewpoint_uncertainty', 'viewpoint_uncertainty_mm', 'mm', 'number', "How far the camera's pupil may stand beside the middle of the hole, mm, standard uncertainty along each axis.", default=0.5, low=0, high=50),
)

#: Flat fields of one setup and what made them.
RELATIVE_ILLUMINATION_REQUEST = Request(
    Field('bias_level', 'bias_level_adu', 'adu', 'number', 'Level without light (bias and dark), ADU; NaN: not known, which is a doubt.', low=-1000, high=1000000),
    Field('turned', 'turned', '', 'flag', 'Every second flat was taken with the camera turned by half a turn against the light, so that a slope of the light cancels.', default=False),
    Field('dust', 'dust', '', 'flag', 'Look for shadows of dust of every size and say how far before the sensor each grain stands; takes longer.', default=False),
    Field('focal_ratio', 'focal_ratio', '', 'number', 'Focal length over aperture at the sensor.', low=1, high=100, required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, mm.', low=10, high=1000000, required=True),
    Field('obstruction', 'obstruction', '', 'number', 'Diameter of the central obstruction over the aperture.', default=0, low=0, high=0.9),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, binning included, um.', low=0.3, high=200, required=True),
)

#: Field curvature at one or more distances between reducer or flattener and sensor, each from a focus run.
SPACING_REQUEST = Request(
    Field('distances', 'distances_mm', 'mm', 'array 1 f8', 'Distance between reducer or flattener and sensor of each run, any zero that all share.', low=-10000, high=10000, required=True),
    Field('sags', 'sags_um', 'um', 'array 1 f8', 'Best focus of the corners less that of the middle at each distance, tilt taken off, um.', low=-1000000, high=1000000, required=True),
    Field('sag_uncertainties', 'sag_uncertainties_um', 'um', 'array 1 f8', 'Standard uncertainty of each, um; from several distances its random part, since no scale that runs share moves the root.', low=0, high=1000000, required=True),
    Field('present_distance', 'present_distance_mm', 'mm', 'number', 'Distance that the change is counted from; NaN: that of the last run.', low=-10000, high=10000),
    Field('distance_uncertainty', 'distance_uncertainty_mm', 'mm', 'number', 'Standard uncertainty of each distance against the others, mm.', default=0.05, low=0, high=10),
    Field('known_slope', 'known_slope', 'um / mm', 'number', 'Change of the sag with the distance that is known of this corrector, for one distance; NaN: not known.', low=-10000, high=10000),
    Field('known_slope_uncertainty', 'known_slope_uncertainty', 'um / mm', 'number', 'Its standard uncertainty; NaN: a fifth of it.', low=0, high=10000),
    Field('known_height', 'known_height_mm', 'mm', 'number', 'Distance from the axis that the known slope holds for, mm; NaN: the corner of this sensor.', low=0.1, high=1000),
    Field('too_near', 'too_near', '', 'choice', 'Where the corners focus when corrector and sensor are too near to each other, for one distance.', default='unknown', choices=('unknown', 'inward', 'outward')),
    Field('corner_height', 'corner_height_mm', 'mm', 'number', "Distance of this sensor's corner from its middle, mm; NaN: not known.", low=0.1, high=1000),
    Field('split', 'split_um', 'um', 'number', 'Tangential less sagittal focus at the corners, for one distance, um; NaN: not known.', low=-1000000, high=1000000),
    Field('split_uncertainty', 'split_uncertainty_um', 'um', 'number', 'Its standard uncertainty, um.', low=0, high=1000000),
    Field('degrees_of_freedom', 'degrees_of_freedom', '', 'number', 'Degrees of freedom of sag and split, for one distance; NaN: so many that they do not count.', low=1, high=1000000),
    Field('doubtful', 'doubtful', '', 'flag', 'A run has a doubt of its own: no direction is said.', default=False),
    Field('focal_ratio', 'focal_ratio', '', 'number', 'Focal length over aperture.', low=1, high=100, required=True),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Middle of the passband, for the depth of focus, nm.', default=550, low=100, high=30000),
)

#: How one frame is to be reduced.
SPECTRUM_REQUEST = Request(
    Field('axis', 'axis', '', 'choice', 'Where wavelengths run.', default='x', choices=('x', 'y')),
    Field('row', 'row_px', 'pix', 'number', 'Row near which the wanted spectrum lies at mid frame; NaN = the brightest.'),
    Field('columns', 'columns', '', 'array 1 i4', 'First column used, and one past the last; empty = all.'),
    Field('bins', 'bins', '', 'integer', 'Bins along the dispersion.', default=96),
    Field('half_window', 'half_window', '', 'integer', "Half height of the profile window, pixels; 0 = from the spectrum's own width.", default=0),
    Field('line_depth', 'line_depth', '', 'number', 'Leave out columns whose flux departs from the continuum by more than this share; 0 = keep all.', default=0.1),
)

#: A spectrum to be drawn, through any lens.
SPECTRUM_SCENE = Request(
    Field('width', 'width', '', 'integer', 'Columns.', default=1600),
    Field('height', 'height', '', 'integer', 'Rows.', default=200),
    Field('wavelengths', 'wavelengths_nm', 'nm', 'array 1 f8', 'Wavelength of each column, nm; must have `width` values.', required=True),
    Field('curve_wavelength', 'curve_wavelength_nm', 'nm', 'array 1 f8', "Wavelengths of the lens's curve.", required=True),
    Field('curve_focus', 'curve_focus_um', 'um', 'array 1 f8', 'Focus at each, um, positive = farther out.', required=True),
    Field('sensor', 'sensor_um', 'um', 'number', 'Place of the sensor, um on the same scale.', default=0),
    Field('focal_ratio', 'focal_ratio', '', 'number', 'Focal length over aperture.', required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length, mm.', required=True),
    Field('obstruction', 'obstruction', '', 'number', 'Central obstruction.', default=0),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, um.', default=4.63),
    Field('seeing', 'seeing_arcsec', 'arcsec', 'number', 'Seeing FWHM at 550 nm, arcsec.', default=2.5),
    Field('temperature', 'temperature_kelvin', 'K', 'number', 'Temperature of the star, K.', default=9600),
    Field('balmer_depth', 'balmer_depth', '', 'number', 'Depth of the hydrogen lines, 0 to 1 (A stars 0.5, F 0.3, G 0.15: common practice, no source).', default=0.5),
    Field('electrons', 'electrons', '', 'number', 'Electrons of the whole first order.', default=20000000),
    Field('second_order', 'second_order', '', 'number', 'Efficiency of the second order over the first.', default=0),
    Field('grating_lines', 'grating_lines_per_mm', '1 / mm', 'number', 'Grooves per mm of a grating in the converging beam; NaN = none.'),
    Field('grating_distance', 'grating_distance_mm', 'mm', 'number', 'Its distance from the sensor, mm.'),
    Field('tilt', 'tilt_px', 'pix', 'number', 'Rise of the trace over the frame, pixels.', default=6),
    Field('bow', 'bow_px', 'pix', 'number', 'Bow of the trace, pixels.', default=1),
    Field('sky', 'sky_electrons', 'electron', 'number', 'Sky, electrons a pixel.', default=40),
    Field('gain', 'gain_electrons_per_adu', 'electron / adu', 'number', 'Electrons for one ADU.', default=1),
    Field('read_noise', 'read_noise_electrons', 'electron', 'number', 'Read noise, electrons RMS.', default=3),
    Field('bias', 'bias_adu', 'adu', 'number', 'Level of the empty frame, ADU.', default=300),
    Field('cosmic_rays', 'cosmic_rays', '', 'integer', 'Cosmic-ray hits.', default=10),
    Field('lamps', 'lamps', '', 'texts', 'Lamps of a lamp frame; empty = a star.'),
    Field('seed', 'seed', '', 'integer', 'Seed of the noise; negative = no noise.', default=1),
)

#: A star, what looks at it, and the air between:
STAR_EXPOSURE_REQUEST = Request(
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the entrance pupil, mm.', low=5, high=20000, required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, mm.', low=10, high=500000, required=True),
    Field('pupil', 'pupil', '', 'record', 'What lets light through.'),
    Field('noll', 'noll', '', 'array 1 i4', 'Noll numbers of the wavefront that is assumed.'),
    Field('coefficients', 'coefficients_nm', 'nm', 'array 1 f8', 'Their coefficients, nm RMS.'),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, um.', required=True),
    Field('magnitude', 'magnitude', '', 'number', 'Visual magnitude of the star, V.', low=-30, high=30, required=True),
    Field('temperature', 'temperature_kelvin', 'K', 'number', "Temperature of the star: it takes the magnitude from V to the filter's wavelength.", default=9500, low=1000, high=100000),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Middle of the filter, nm.', default=550, low=300, high=1100),
    Field('bandwidth', 'bandwidth_nm', 'nm', 'number', 'Full width of the filter, nm.', default=100, low=0.01, high=800),
    Field('efficiency', 'efficiency', '', 'number', 'Electrons for a photon that reaches the objective: optics, filter and detector together, the air left out.', default=0.5, low=0.001, high=1),
    Field('altitude', 'altitude_deg', 'deg', 'number', 'Altitude of the star above the horizon.', default=90, low=5, high=90),
    Field('seeing', 'seeing_arcsec', 'arcsec', 'number', 'Seeing, FWHM in arcsec, in the zenith at 500 nm.', default=2, low=0, high=60),
    Field('level', 'level_electrons', 'electron', 'number', 'Level that the brightest pixel is to stay below, electrons.', default=25000, low=10, high=1000000000),
    Field('wanted', 'wanted_electrons', 'electron', 'number', 'Electrons of the star that are wanted in one exposure.', default=10000000, low=0, high=1000000000000),
    Field('dispersion', 'dispersion_nm_per_px', 'nm / pix', 'number', 'Dispersion of a spectrum without a slit; 0 = no spectrum. The level then holds for its brightest column.', default=0, low=0, high=100),
    Field('defocus_waves', 'defocus_waves', '', 'number', 'Defocus to either side in waves of W020; 0 = in focus.', default=0, low=0, high=50),
)

#: What to find and how to measure it.
STAR_REQUEST = Request(
    Field('threshold', 'threshold', '', 'number', 'Significance a peak of the smoothed frame must have: its height over the noise there.', default=5, low=2, high=1000),
    Field('cell_size', 'cell_size', '', 'integer', 'Side of the cells on which sky level and noise are measured, pixels.', default=64, low=8, high=1024),
    Field('outer_radius', 'outer_radius_px', 'pix', 'number', 'Radius of the circle that counts as the whole star, pixels; NaN: three times the usual half-flux radius of the frame, at least 5.', low=2, high=200),
    Field('fit_profiles', 'fit_profiles', '', 'choice', 'Which stars get a fit of a pixel-integrated Moffat profile, which gives their FWHM.', default='bright', choices=('none', 'bright', 'all')),
    Field('axis', 'axis', 'pix', 'array 1 f8', 'Column and row of the optical axis, pixels; empty: the middle of the frame.'),
    Field('mosaic', 'mosaic', '', 'text', 'Colors of a raw mosaic at [0, 0], [0, 1], [1, 0], [1, 1], for example "RGGB"; empty: every pixel sees the same light.', default=''),
    Field('color', 'color', '', 'choice', 'Which pixels of the mosaic are measured.', default='green', choices=('green', 'red', 'blue')),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', "Focal length, mm, to turn pixels into angles by the frame's pixel pitch; NaN: not known. Taken as known to 1 %."),
    Field('pixel_scale', 'pixel_scale_arcsec_per_px', 'arcsec / pix', 'number', 'Side of a pixel on the sky as the sky itself shows it (a plate solution); it goes before the focal length. NaN: not known.'),
    Field('filter_wavelength', 'filter_wavelength_nm', 'nm', 'number', 'Central wavelength of the filter, nm; NaN: not known. It only labels the quantities, nothing is computed with it.'),
)

#: One straight vane from the centre to the edge.
VANE = Request(
    Field('angle', 'angle_deg', 'deg', 'number', 'Direction from the centre, from +x towards +y.'),
    Field('width_fraction', 'width_fraction', '', 'number', "Width as a fraction of the aperture's diameter."),
)

#: A circle that the light must also pass.
VIGNETTED_EDGE = Request(
    Field('x', 'x', '', 'number', 'Its centre, pupil radii.'),
    Field('y', 'y', '', 'number', 'Its centre, pupil radii.'),
    Field('radius', 'radius', '', 'number', 'Its radius, pupil radii.'),
)

#: A defocused pair of one star field and what is known of telescope and light.
WAVEFRONT_FIELD_REQUEST = Request(
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the entrance pupil, mm.', low=5, high=20000, required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, reducer included, mm.', low=10, high=500000, required=True),
    Field('pupil', 'pupil', '', 'record', 'Pupil.'),
    Field('wavelength', 'wavelength_nm', 'nm', 'number', 'Middle of the passband, nm.', low=200, high=20000, required=True),
    Field('pitch', 'pitch_um', 'um', 'number', 'Pixel pitch, binning included, um.', low=0.3, high=200, required=True),
    Field('scale_uncertainty', 'scale_uncertainty', '', 'number', 'Relative standard uncertainty of pixel pitch times focal ratio, which scales every distance from focus.', default=0.005, low=0, high=0.2),
    Field('paraboloid', 'paraboloid', '', 'flag', 'Whether the objective is a single paraboloid without a corrector (Newtonian): the growth of its coma over the field is known then.', default=False),
    Field('most_stars', 'most_stars', '', 'integer', 'Most stars that are fitted: the brightest that are whole, alone and unclipped.', default=150, low=12, high=2000),
)

#: One or more pairs of images of a bright star inside and outside of focus, and what is known of telescope and light.
WAVEFRONT_REQUEST = Request(
    Field('aperture', 'aperture_mm', 'mm', 'number', 'Diameter of the entrance pupil, mm.', required=True),
    Field('focal_length', 'focal_length_mm', 'mm', 'number', 'Focal length at the sensor, reducer included, mm.', required=True),
    Field('pupil', 'pupil', '', 'record', 'Pupil.'),
    Field('wavelengths', 'wavelengths_nm', 'nm', 'array 1 f8', 'Wavelengths of the band, nm.', required=True),
    Field('weights', 'weights', '', 'array 1 f8', 'Shares of the detected light at those wavelengths; empty = equal.'),
    Field('pitch', 'pitch_um', 'um', 'number', "Pixel pitch, um; NaN = the frames' own."),
    Field('distances', 'distances_um', 'um', 'array 1 f8', 'Distances of the sensor from best focus for each image, um, negative inside; empty or NaN = not known. Only compared with what the images show, since their size says it better.'),
    Field('times', 'times', 'h', 'array 1 f8', "Middle of each image's exposure, hours from any start; empty or NaN = not known. Three pairs or more of one night are then followed in time."),
    Field('focuser', 'focuser_um', 'um', 'array 1 f8', 'Place of the focuser for each image, um, growing away from the objective; empty or NaN = not known.'),
    Field('orientation', 'orientation', '', 'choice', 'How the picture lies.', default='direct', choices=('direct', 'flipped-x', 'flipped-y', 'rotated180')),
    Field('seeing', 'seeing_arcsec', 'arcsec', 'number', 'Seeing, FWHM in arcsec at the mean wavelength: held when `hold_seeing`, else only a start; NaN = found by the fit.'),
    Field('hold_seeing', 'hold_seeing', '', 'flag', 'True: keep the seeing as given.', default=False),
    Field('jitter', 'jitter_arcsec', 'arcsec', 'number', 'RMS guiding jitter along each axis, arcsec.', default=0),
    Field('least_noll', 'least_noll', '', 'integer', 'Fewest modes: up to this Noll number.', default=22),
    Field('most_noll', 'most_noll', '', 'integer', 'Most modes that the stopping rule may use. Beyond 45 it may also use rings, modes without angle up to radial order 32.', default=136),
    Field('known_to', 'known_to', '', 'record', 'Standard uncertainties of what is held fixed.'),
    Field('map_size', 'map_size', '', 'integer', 'Samples across the wavefront map.', default=128),
)

#: A spectrum with lines and what is known of its scale.
WAVELENGTH_REQUEST = Request(
    Field('absorption', 'absorption', '', 'flag', 'True when the lines are dark (a star).', default=False),
    Field('lamps', 'lamps', '', 'texts', 'Names of line lists: Ne, Ar, Hg, He, Kr, Xe, Cd, H, telluric.'),
    Field('lines', 'lines_nm', 'nm', 'array 1 f8', 'Lines beside or instead of the lists, nm in air.'),
    Field('first_column', 'first_column', '', 'integer', "Columns of the frame before the first of the flux: the scale begins at the frame's own first column.", default=0),
    Field('dispersion', 'dispersion_nm_per_px', 'nm / pix', 'array 1 f8', "Least and greatest dispersion, nm per column, without sign; a prism's range must be covered.", required=True),
    Field('limits', 'limits_nm', 'nm', 'array 1 f8', 'Shortest and longest wavelength that can lie in the frame.'),
    Field('direction', 'direction', '', 'integer', '+1 when wavelengths grow with the column, -1 when they fall, 0 when not known.', default=0),
    Field('max_degree', 'max_degree', '', 'integer', 'Highest degree of the polynomial (a prism needs 3 or 4).', default=3),
    Field('max_rms', 'max_rms_px', 'pix', 'number', 'Largest RMS residual allowed, columns.', default=0.8),
)


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class AberrationFamily(Record):
    """Modes of one family taken together.

    Attributes
    ----------
    name : str
        spherical, coma, astigmatism, trefoil, higher orders.
    rms : Measured
        Root sum square of its coefficients, nm, with what noise alone would give taken
        off.
    share : float
        Its square over the square of the whole RMS without focus.
    direction : Measured
        Direction in the pupil in which the wave is most ahead at the rim, from +x towards
        +y; NaN where it has none. Light lands on the other side: the tail of coma points
        the opposite way.
    """

    name: str
    rms: Measured
    share: float
    direction: Measured

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'name': ('name', 'text', '', None), 'rms': ('rms', 'measured', '', None),
        'share': ('share', 'number', '', None),
        'direction': ('direction_deg', 'measured', 'deg', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Advice(Record):
    """One piece of advice.

    Attributes
    ----------
    about : str
        What it is about: "coma", "focus", "seeing", ...
    hands : {"user", "optician", "nobody"}
        Who may do it.
    amount : Measured
        By how much, with unit; NaN when it cannot be said.
    direction : Measured
        In which direction, degrees from +x towards +y in the image; NaN when none.
    text : str
        One or two sentences: what to do, by how much, how to check it.
    """

    about: str
    hands: str
    amount: Measured
    direction: Measured
    text: str

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'about': ('about', 'text', '', None), 'hands': ('hands', 'choice', '', None),
        'amount': ('amount', 'measured', '', None),
        'direction': ('direction_deg', 'measured', 'deg', None), 'text': ('text', 'text', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class BlurPart(Record):
    """One part of a star's blur.

    Attributes
    ----------
    name : str
        diffraction, optics, seeing, pixels, or the rest.
    fwhm : Measured
        Its own FWHM, arcsec; of the optics what the wavefront error adds in quadrature.
    share : float
        Its square over the sum of all parts' squares.
    meaning : str
        What it is and what moves it, one sentence.
    """

    name: str
    fwhm: Measured
    share: float
    meaning: str

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'name': ('name', 'text', '', None), 'fwhm': ('fwhm_arcsec', 'measured', 'arcsec', None),
        'share': ('share', 'number', '', None), 'meaning': ('meaning', 'text', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class AdviceReport(Record):
    """What limits the images and what to do about it.

    Attributes
    ----------
    limited_by : str
        diffraction, optics, seeing, pixels, the rest, or "" when it cannot be said.
    limit : str
        One sentence.
    blur : tuple of BlurPart
        Parts of the stars' blur, largest first.
    families : tuple of AberrationFamily
        Parts of the wavefront error, largest first.
    advice : tuple of Advice
        What to do, most useful first.
    notes : tuple of Note
        Reservations.
    """

    limited_by: str
    limit: str
    blur: tuple[BlurPart, ...]
    families: tuple[AberrationFamily, ...]
    advice: tuple[Advice, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'limited_by': ('limited_by', 'text', '', None), 'limit': ('limit', 'text', '', None),
        'blur': ('blur', 'records', '', BlurPart),
        'families': ('families', 'records', '', AberrationFamily),
        'advice': ('advice', 'records', '', Advice), 'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class AlignmentImage(Record):
    """One image:

    pixels, model and the circles of its disc. Places are in pixels of the frame.

    Attributes
    ----------
    name : str
        Name of the frame.
    side : {"unknown", "inside", "outside"}
        Side of focus that was taken.
    x0 : int
        Frame column of the window's first pixel.
    y0 : int
        Frame row of the window's first pixel.
    binning : int
        Frame pixels along the side of one pixel here.
    observed : ndarray, 2 axes
        Electrons; row y, column x.
    model : ndarray, 2 axes
        Electrons.
    residual : ndarray, 2 axes
        (observed - model) in standard deviations, 0 where masked.
    defocus_waves : float
        Path at the edge, waves, negative inside.
    blur_radius : Quantity (pix)
        Radius of the geometric disc.
    outer_x : Quantity (pix)
        Middle of the outer edge.
    outer_y : Quantity (pix)
        Middle of the outer edge.
    outer_radius : Quantity (pix)
        Its mean radius, aberrations included.
    outer_ellipticity : float
        Half the difference of its half axes over their mean.
    outer_angle : Quantity (deg)
        Direction of its long axis.
    shadow_x : Quantity (pix)
        Middle of the shadow, or of the innermost ring.
    shadow_y : Quantity (pix)
        Middle of the shadow, or of the innermost ring.
    shadow_radius : Quantity (pix)
        Radius of the shadow; 0 without an obstruction.
    """

    name: str
    side: str
    x0: int
    y0: int
    binning: int
    observed: np.ndarray
    model: np.ndarray
    residual: np.ndarray
    defocus_waves: float
    blur_radius: u.Quantity
    outer_x: u.Quantity
    outer_y: u.Quantity
    outer_radius: u.Quantity
    outer_ellipticity: float
    outer_angle: u.Quantity
    shadow_x: u.Quantity
    shadow_y: u.Quantity
    shadow_radius: u.Quantity

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'name': ('name', 'text', '', None), 'side': ('side', 'choice', '', None),
        'x0': ('x0', 'integer', '', None), 'y0': ('y0', 'integer', '', None),
        'binning': ('binning', 'integer', '', None),
        'observed': ('observed', 'array 2 f4', '', None),
        'model': ('model', 'array 2 f4', '', None),
        'residual': ('residual', 'array 2 f4', '', None),
        'defocus_waves': ('defocus_waves', 'number', '', None),
        'blur_radius': ('blur_radius_px', 'number', 'pix', None),
        'outer_x': ('outer_x', 'number', 'pix', None),
        'outer_y': ('outer_y', 'number', 'pix', None),
        'outer_radius': ('outer_radius_px', 'number', 'pix', None),
        'outer_ellipticity': ('outer_ellipticity', 'number', '', None),
        'outer_angle': ('outer_angle_deg', 'number', 'deg', None),
        'shadow_x': ('shadow_x', 'number', 'pix', None),
        'shadow_y': ('shadow_y', 'number', 'pix', None),
        'shadow_radius': ('shadow_radius_px', 'number', 'pix', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class AlignmentRing(Record):
    """One edge or ring of an image, traced by itself against an image without any error
    that is not round.

    Attributes
    ----------
    image : int
        Which image, from 0.
    kind : str
        "outer edge", "ring" or "shadow".
    radius_share : float
        Its radius over the blur radius.
    radius : Quantity (pix)
        Its radius.
    shift_x : Measured
        Its middle from that of the outer edge as fitted, along x.
    shift_y : Measured
        The same along y.
    expected_x : Quantity (pix)
        What the fit has there, along x.
    expected_y : Quantity (pix)
        The same along y.
    brightness : Measured
        How much brighter its bright side is than its mean, less 1.
    bright : Quantity (deg)
        Direction of the bright side.
    """

    image: int
    kind: str
    radius_share: float
    radius: u.Quantity
    shift_x: Measured
    shift_y: Measured
    expected_x: u.Quantity
    expected_y: u.Quantity
    brightness: Measured
    bright: u.Quantity

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'image': ('image', 'integer', '', None), 'kind': ('kind', 'text', '', None),
        'radius_share': ('radius_share', 'number', '', None),
        'radius': ('radius_px', 'number', 'pix', None),
        'shift_x': ('shift_x', 'measured', '', None), 'shift_y': ('shift_y', 'measured', '', None),
        'expected_x': ('expected_x', 'number', 'pix', None),
        'expected_y': ('expected_y', 'number', 'pix', None),
        'brightness': ('brightness', 'measured', '', None),
        'bright': ('bright_deg', 'number', 'deg', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Quantity(Record):
    """A number that a claim can be about, with what a decision must know of it.

    Attributes
    ----------
    name : str
        Name from the one list, QuantityCatalog.
    value : Measured
        Value with its combined standard uncertainty.
    random_part : float
        The part of the uncertainty that averages out over more of what is counted; NaN =
        not known. In the value's unit.
    common_part : float
        The part that all of them share; NaN = not known. In the value's unit.
    may_be_less : float
        By how much the true value may lie below the value besides its uncertainty: a
        bound, for what is left out in one direction only; 0 = nothing. In the value's
        unit.
    may_be_more : float
        The same above the value.
    degrees_of_freedom : float
        Degrees of freedom of the uncertainty.
    count : int
        How many frames, pairs or spectra it rests on.
    counted : str
        What is counted, in the plural.
    wavelength : Quantity (nm)
        Wavelength at which it holds; NaN where it depends on none.
    doubts : tuple of str
        Reasons why it must not decide, each a sentence.
    """

    name: str
    value: Measured
    random_part: float
    common_part: float
    may_be_less: float
    may_be_more: float
    degrees_of_freedom: float
    count: int
    counted: str
    wavelength: u.Quantity
    doubts: tuple[str, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'name': ('name', 'text', '', None), 'value': ('value', 'measured', '', None),
        'random_part': ('random_part', 'number', '', None),
        'common_part': ('common_part', 'number', '', None),
        'may_be_less': ('may_be_less', 'number', '', None),
        'may_be_more': ('may_be_more', 'number', '', None),
        'degrees_of_freedom': ('degrees_of_freedom', 'number', '', None),
        'count': ('count', 'integer', '', None), 'counted': ('counted', 'text', '', None),
        'wavelength': ('wavelength_nm', 'number', 'nm', None),
        'doubts': ('doubts', 'texts', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class AlignmentResult(Record):
    """How far the rings and the shadow of a defocused star are out of its middle, and what
    does it.

    Attributes
    ----------
    decentre : Measured
        Decentre in the first image over the blur radius, all causes together.
    decentre_length : Measured
        The same as a length on the sensor.
    decentre_pixels : Measured
        The same in pixels of the frame.
    decentre_x : Measured
        Its part along x.
    decentre_y : Measured
        Its part along y.
    direction : Measured
        Its direction in the first image.
    coma_decentre : Measured
        Part of the decentre that coma makes, the same on both sides of focus, over the
        blur radius of the first image.
    coma_decentre_x : Measured
        The part along x.
    coma_decentre_y : Measured
        The part along y.
    coma_direction : Measured
        Direction in which coma moves the shadow against the outer edge.
    coma : Measured
        Coma that the decentre amounts to, RMS over the full circle (Noll 7 and 8
        together).
    coma_x : Measured
        The coefficient of Noll 8 (along x), positive where the wave is ahead at +x.
    coma_y : Measured
        The coefficient of Noll 7 (along y).
    coma_covariance : Quantity (nm2)
        Variance of Noll 8, covariance with Noll 7, and variance of that, by photons and
        misfit alone.
    coma_air : Quantity (nm)
        Standard uncertainty of either coefficient by moving air, which stars of one
        exposure share.
    coma_strehl : float
        Strehl ratio that this coma alone would leave, over the ring that passes light.
    offset_x : Measured
        Obstruction out of the middle of the aperture, over the aperture's radius, toward
        +x of the first image; NaN without an obstruction.
    offset_y : Measured
        The same toward +y.
    obstruction : Measured
        Obstruction that the shadow shows, ratio of diameters; NaN without one.
    axis_distance : Measured
        Distance of the star from the axis of the paraboloid, where coma vanishes; NaN for
        other objectives.
    mirror_turn : Measured
        By how much the paraboloid has to be turned to bring its axis to where the star
        stood; NaN for other objectives.
    coma_told : bool
        Whether coma stands out of its uncertainty.
    offset_told : bool
        Whether an obstruction out of the middle stands out of its uncertainty.
    clock_hour : float
        Hour on a clock's face, seen by somebody who looks along the tube to the sky, of
        the edge of the aperture toward which coma moves the shadow in the first image;
        NaN where it is not known how the camera lies.
    signal_to_noise : float
        Signal-to-noise ratio of the star in the worst image.
    wavelength : Quantity (nm)
        Wavelength of the fit.
    focal_ratio : float
        Focal length over aperture.
    chi_squared : float
        Chi squared of the pixels over their degrees of freedom.
    images : tuple of AlignmentImage
        Each image with its circles.
    rings : tuple of AlignmentRing
        Edges and rings traced one by one.
    decided : bool
        Whether the numbers may be used to decide.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    decentre: Measured
    decentre_length: Measured
    decentre_pixels: Measured
    decentre_x: Measured
    decentre_y: Measured
    direction: Measured
    coma_decentre: Measured
    coma_decentre_x: Measured
    coma_decentre_y: Measured
    coma_direction: Measured
    coma: Measured
    coma_x: Measured
    coma_y: Measured
    coma_covariance: u.Quantity
    coma_air: u.Quantity
    coma_strehl: float
    offset_x: Measured
    offset_y: Measured
    obstruction: Measured
    axis_distance: Measured
    mirror_turn: Measured
    coma_told: bool
    offset_told: bool
    clock_hour: float
    signal_to_noise: float
    wavelength: u.Quantity
    focal_ratio: float
    chi_squared: float
    images: tuple[AlignmentImage, ...]
    rings: tuple[AlignmentRing, ...]
    decided: bool
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'decentre': ('decentre', 'measured', '', None),
        'decentre_length': ('decentre_length', 'measured', '', None),
        'decentre_pixels': ('decentre_pixels', 'measured', '', None),
        'decentre_x': ('decentre_x', 'measured', '', None),
        'decentre_y': ('decentre_y', 'measured', '', None),
        'direction': ('direction', 'measured', '', None),
        'coma_decentre': ('coma_decentre', 'measured', '', None),
        'coma_decentre_x': ('coma_decentre_x', 'measured', '', None),
        'coma_decentre_y': ('coma_decentre_y', 'measured', '', None),
        'coma_direction': ('coma_direction', 'measured', '', None),
        'coma': ('coma', 'measured', '', None), 'coma_x': ('coma_x', 'measured', '', None),
        'coma_y': ('coma_y', 'measured', '', None),
        'coma_covariance': ('coma_covariance', 'array 1 f8', 'nm2', None),
        'coma_air': ('coma_air_nm', 'number', 'nm', None),
        'coma_strehl': ('coma_strehl', 'number', '', None),
        'offset_x': ('offset_x', 'measured', '', None),
        'offset_y': ('offset_y', 'measured', '', None),
        'obstruction': ('obstruction', 'measured', '', None),
        'axis_distance': ('axis_distance', 'measured', '', None),
        'mirror_turn': ('mirror_turn', 'measured', '', None),
        'coma_told': ('coma_told', 'flag', '', None),
        'offset_told': ('offset_told', 'flag', '', None),
        'clock_hour': ('clock_hour', 'number', '', None),
        'signal_to_noise': ('signal_to_noise', 'number', '', None),
        'wavelength': ('wavelength_nm', 'number', 'nm', None),
        'focal_ratio': ('focal_ratio', 'number', '', None),
        'chi_squared': ('chi_squared', 'number', '', None),
        'images': ('images', 'records', '', AlignmentImage),
        'rings': ('rings', 'records', '', AlignmentRing), 'decided': ('decided', 'flag', '', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class BlurCause(Record):
    """One cause of blur or lengthening, weighed against the stars.

    Attributes
    ----------
    cause : str
        "tilt", "curvature", "astigmatism", "coma" or "trailing".
    verdict : str
        "present", "absent" (less than would be noticed) or "not decided".
    probability : float
        Share of the evidence of all explanations that hold it.
    blur_share : float
        By what share the half-flux radius in the corners would shrink without it, if it
        is there.
    lengthening : float
        Ellipticity in the corners that would go with it, if it is there.
    meaning : str
        What it means and what to do.
    """

    cause: str
    verdict: str
    probability: float
    blur_share: float
    lengthening: float
    meaning: str

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'cause': ('cause', 'text', '', None), 'verdict': ('verdict', 'text', '', None),
        'probability': ('probability', 'number', '', None),
        'blur_share': ('blur_share', 'number', '', None),
        'lengthening': ('lengthening', 'number', '', None),
        'meaning': ('meaning', 'text', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class BudgetPart(Record):
    """One entry's part in the result.

    Attributes
    ----------
    contribution : float
        |sensitivity| times uncertainty, in the result's unit.
    share : float
        Its square over the sum of all squares, 0 to 1.
    source : str
        See the engine.
    kind : str
        See the engine.
    input : str
        See the engine.
    averages : bool
        See the engine.
    """

    contribution: float
    share: float
    source: str
    kind: str
    input: str
    averages: bool

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'contribution': ('contribution', 'number', '', None),
        'share': ('share', 'number', '', None), 'source': ('source', 'text', '', None),
        'kind': ('kind', 'text', '', None), 'input': ('input', 'text', '', None),
        'averages': ('averages', 'flag', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Claim(Record):
    """A range that a quantity shall lie in.

    Attributes
    ----------
    name : str
        Short name for tables.
    kind : {"claim", "requirement"}
        Claim or requirement.
    lower : float
        Least value allowed; minus infinity when there is none.
    upper : float
        Largest value allowed; infinity when there is none.
    unit : str
        Unit of both.
    range : str
        "at least 0.95", for sentences.
    """

    name: str
    kind: str
    lower: float
    upper: float
    unit: str
    range: str

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'name': ('name', 'text', '', None), 'kind': ('kind', 'choice', '', None),
        'lower': ('lower', 'number', '', None), 'upper': ('upper', 'number', '', None),
        'unit': ('unit', 'text', '', None), 'range': ('range', 'text', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class MeritResult(Record):
    """Figures of merit of color focus alone:

    every other aberration and the seeing are left out.

    Attributes
    ----------
    in_focus_fraction : Measured
        Share of the light whose defocus lies within +-2 lambda N^2.
    light_step : float
        Largest share of the light in one step of the sum over wavelengths: the fraction
        is not told finer than that.
    rms_blur : Measured
        RMS radius of the geometric blur over the band, um.
    rms_blur_sky : Measured
        The same on the sky, arcsec.
    polychromatic_strehl : Measured
        Strehl ratio averaged over the light.
    halo_fraction : Measured
        Share of the light outside the halo radius.
    halo_radius : Quantity (um)
        Radius used for the halo, um.
    secondary_spectrum : Measured
        Mean focus of F and C minus that of d over the focal length; NaN when the band
        does not hold them.
    focus_spread : Measured
        Longest minus shortest focus within the band over the focal length.
    sensor : Quantity (um)
        Sensor position, um on the curve's scale.
    band : Quantity (nm)
        Edges of the band used.
    focus : {"best-strehl", "best-in-focus", "least-blur", "reference"}
        Where the sensor stands: as was asked for.
    best_band : Quantity (nm)
        Edges of the passband that keeps the most light at the wanted Strehl ratio; NaN =
        none does.
    best_band_light : float
        Share of the band's light it keeps.
    best_band_strehl : float
        Polychromatic Strehl ratio through it, refocused.
    cut_on : Quantity (nm)
        Candidate short edges of a cut-on filter.
    cut_strehl : ndarray
        Strehl ratio with each, refocused.
    cut_in_focus : ndarray
        In-focus fraction with each.
    cut_light : ndarray
        Light kept with each.
    defocus_depths : ndarray
        Defocus in units of the depth of focus 2 lambda N^2 at each wavelength given.
    blur : Quantity (arcsec)
        Geometric blur diameter at each wavelength, arcsec.
    """

    in_focus_fraction: Measured
    light_step: float
    rms_blur: Measured
    rms_blur_sky: Measured
    polychromatic_strehl: Measured
    halo_fraction: Measured
    halo_radius: u.Quantity
    secondary_spectrum: Measured
    focus_spread: Measured
    sensor: u.Quantity
    band: u.Quantity
    focus: str
    best_band: u.Quantity
    best_band_light: float
    best_band_strehl: float
    cut_on: u.Quantity
    cut_strehl: np.ndarray
    cut_in_focus: np.ndarray
    cut_light: np.ndarray
    defocus_depths: np.ndarray
    blur: u.Quantity

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'in_focus_fraction': ('in_focus_fraction', 'measured', '', None),
        'light_step': ('light_step', 'number', '', None),
        'rms_blur': ('rms_blur', 'measured', '', None),
        'rms_blur_sky': ('rms_blur_sky', 'measured', '', None),
        'polychromatic_strehl': ('polychromatic_strehl', 'measured', '', None),
        'halo_fraction': ('halo_fraction', 'measured', '', None),
        'halo_radius': ('halo_radius_um', 'number', 'um', None),
        'secondary_spectrum': ('secondary_spectrum', 'measured', '', None),
        'focus_spread': ('focus_spread', 'measured', '', None),
        'sensor': ('sensor_um', 'number', 'um', None),
        'band': ('band_nm', 'array 1 f8', 'nm', None), 'focus': ('focus', 'choice', '', None),
        'best_band': ('best_band_nm', 'array 1 f8', 'nm', None),
        'best_band_light': ('best_band_light', 'number', '', None),
        'best_band_strehl': ('best_band_strehl', 'number', '', None),
        'cut_on': ('cut_on_nm', 'array 1 f8', 'nm', None),
        'cut_strehl': ('cut_strehl', 'array 1 f8', '', None),
        'cut_in_focus': ('cut_in_focus', 'array 1 f8', '', None),
        'cut_light': ('cut_light', 'array 1 f8', '', None),
        'defocus_depths': ('defocus_depths', 'array 1 f8', '', None),
        'blur': ('blur_arcsec', 'array 1 f8', 'arcsec', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ColorFocusResult(Record):
    """Best focus against wavelength.

    Positive = farther from the objective than the reference wavelength's.

    Attributes
    ----------
    from_focus_run : bool
        True for a focus run, false for a single spectrum.
    wavelength : Quantity (nm)
        Mean wavelength of each bin, nm.
    shift : Quantity (um)
        Shift of each bin measured on its own, um; for a single spectrum its size with the
        sign of the smooth curve.
    shift_uncertainty : Quantity (um)
        Standard uncertainty, um.
    used : ndarray
        False where a bin was left out of the smooth curve.
    smooth : Quantity (um)
        Smooth curve at the same bins, um.
    smooth_uncertainty : Quantity (um)
        Its standard uncertainty, um.
    replicates : Quantity (um), 2 axes
        Bootstrap replicates of the smooth curve, replicates x bins, um.
    defocus_size : Quantity (um)
        For a single spectrum: distance of each bin's focus from the sensor without its
        sign, um; NaN for a focus run.
    defocus_size_uncertainty : Quantity (um)
        Its standard uncertainty.
    sign_decided : ndarray
        False where one spectrum does not tell on which side of the sensor a color
        focuses.
    signs_decided : bool
        False when open signs matter: then `defocus_size` is what was measured, the signed
        curve is one of several that fit, and `focus_range` is that of the size.
    removed : Quantity (um)
        What was subtracted for the grating or by the reference, um.
    relative_flux : ndarray
        Detected light per nm at each bin, relative to the largest.
    width : Quantity (um), 2 axes
        Half the 68.3 % range of the profile, frames x bins, um on the sensor: model-free.
    width_uncertainty : Quantity (um), 2 axes
        Its standard uncertainty.
    seeing : Quantity (um)
        Seeing FWHM at 550 nm with the telescope's own steady blur, each frame, um on the
        sensor.
    positions : Quantity (um)
        Position of each frame, um.
    reference_focus : Measured
        Best focus of the reference wavelength on the focuser's scale (focus run), or its
        distance from the sensor (single).
    instrument_blur : Measured
        RMS blur that all colors of all frames share and that is not the telescope's: the
        spectrograph's, um; NaN where the profiles show none.
    reference : Quantity (nm)
        Zero of the curve, nm.
    focus_range : Measured
        Longest minus shortest focus over the used bins.
    focal_ratio_from_blur : Measured
        Focal ratio at which the blur grows with the position as it did; NaN for a single
        spectrum.
    noise_scale : float
        Profiles' scatter over the expected noise.
    focal_ratio : float
        Focal length over aperture, as given.
    focal_length : Quantity (mm)
        Focal length, as given; NaN = not known.
    obstruction : float
        Ratio of the diameters of obstruction and aperture, as given.
    column_shift : ndarray
        Shift of each frame along the dispersion against the first, columns.
    second_order_from : Quantity (nm)
        Longest wavelength free of the second order, nm; infinite when none comes.
    band_merit : MeritResult
        Figures of merit in the request's band, weighted with the light as detected; null
        when no band was asked for.
    notes : tuple of Note
        What must be known.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    """

    from_focus_run: bool
    wavelength: u.Quantity
    shift: u.Quantity
    shift_uncertainty: u.Quantity
    used: np.ndarray
    smooth: u.Quantity
    smooth_uncertainty: u.Quantity
    replicates: u.Quantity
    defocus_size: u.Quantity
    defocus_size_uncertainty: u.Quantity
    sign_decided: np.ndarray
    signs_decided: bool
    removed: u.Quantity
    relative_flux: np.ndarray
    width: u.Quantity
    width_uncertainty: u.Quantity
    seeing: u.Quantity
    positions: u.Quantity
    reference_focus: Measured
    instrument_blur: Measured
    reference: u.Quantity
    focus_range: Measured
    focal_ratio_from_blur: Measured
    noise_scale: float
    focal_ratio: float
    focal_length: u.Quantity
    obstruction: float
    column_shift: np.ndarray
    second_order_from: u.Quantity
    band_merit: MeritResult | None
    notes: tuple[Note, ...]
    quantities: tuple[Quantity, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'from_focus_run': ('from_focus_run', 'flag', '', None),
        'wavelength': ('wavelength_nm', 'array 1 f8', 'nm', None),
        'shift': ('shift_um', 'array 1 f8', 'um', None),
        'shift_uncertainty': ('shift_uncertainty_um', 'array 1 f8', 'um', None),
        'used': ('used', 'array 1 b1', '', None), 'smooth': ('smooth_um', 'array 1 f8', 'um', None),
        'smooth_uncertainty': ('smooth_uncertainty_um', 'array 1 f8', 'um', None),
        'replicates': ('replicates_um', 'array 2 f8', 'um', None),
        'defocus_size': ('defocus_size_um', 'array 1 f8', 'um', None),
        'defocus_size_uncertainty': ('defocus_size_uncertainty_um', 'array 1 f8', 'um', None),
        'sign_decided': ('sign_decided', 'array 1 b1', '', None),
        'signs_decided': ('signs_decided', 'flag', '', None),
        'removed': ('removed_um', 'array 1 f8', 'um', None),
        'relative_flux': ('relative_flux', 'array 1 f8', '', None),
        'width': ('width_um', 'array 2 f8', 'um', None),
        'width_uncertainty': ('width_uncertainty_um', 'array 2 f8', 'um', None),
        'seeing': ('seeing_um', 'array 1 f8', 'um', None),
        'positions': ('positions_um', 'array 1 f8', 'um', None),
        'reference_focus': ('reference_focus', 'measured', '', None),
        'instrument_blur': ('instrument_blur', 'measured', '', None),
        'reference': ('reference_nm', 'number', 'nm', None),
        'focus_range': ('focus_range', 'measured', '', None),
        'focal_ratio_from_blur': ('focal_ratio_from_blur', 'measured', '', None),
        'noise_scale': ('noise_scale', 'number', '', None),
        'focal_ratio': ('focal_ratio', 'number', '', None),
        'focal_length': ('focal_length_mm', 'number', 'mm', None),
        'obstruction': ('obstruction', 'number', '', None),
        'column_shift': ('column_shift', 'array 1 f8', '', None),
        'second_order_from': ('second_order_from_nm', 'number', 'nm', None),
        'band_merit': ('band_merit', 'record', '', MeritResult),
        'notes': ('notes', 'notes', '', None),
        'quantities': ('quantities', 'records', '', Quantity),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ColorPair(Record):
    """Two colors compared.

    Attributes
    ----------
    color : str
        The color that is compared.
    against : str
        The color that it is compared with.
    stars : int
        Stars behind the comparison.
    corner : Measured
        Image height at the corners of the sensor, less that in the other color; positive
        = its image is larger.
    corner_in_pixels : Measured
        The same in pixels.
    scale_difference : Measured
        Relative difference of scale in the middle of the field, 1e-6.
    third_order : Measured
        Part of the corner's difference that grows with the third power of the height; NaN
        with few stars.
    decenter_x : Measured
        Decentered part (Brown 1966): P of P (r^2 + 2 x^2) with r = 1 at the corners, x;
        from frames that moved it is what the move makes of distortion.
    decenter_y : Measured
        The same along y.
    shift_x : Measured
        Displacement of the whole image in the middle of the field, x.
    shift_y : Measured
        The same along y.
    expected_shift : Measured
        Amount that dispersion of the air makes of it at the stated altitude; NaN where
        not known.
    towards_zenith : Measured
        Displacement towards the zenith less the expected one; NaN where direction or
        amount are not known.
    across_zenith : Measured
        Displacement across that direction, to its left.
    rotation : Measured
        Turn of the image, from +x towards +y.
    scatter : float
        Scatter of the stars beyond their own uncertainties, pixels.
    """

    color: str
    against: str
    stars: int
    corner: Measured
    corner_in_pixels: Measured
    scale_difference: Measured
    third_order: Measured
    decenter_x: Measured
    decenter_y: Measured
    shift_x: Measured
    shift_y: Measured
    expected_shift: Measured
    towards_zenith: Measured
    across_zenith: Measured
    rotation: Measured
    scatter: float

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'color': ('color', 'text', '', None), 'against': ('against', 'text', '', None),
        'stars': ('stars', 'integer', '', None), 'corner': ('corner', 'measured', '', None),
        'corner_in_pixels': ('corner_in_pixels', 'measured', '', None),
        'scale_difference': ('scale_difference', 'measured', '', None),
        'third_order': ('third_order', 'measured', '', None),
        'decenter_x': ('decenter_x', 'measured', '', None),
        'decenter_y': ('decenter_y', 'measured', '', None),
        'shift_x': ('shift_x', 'measured', '', None), 'shift_y': ('shift_y', 'measured', '', None),
        'expected_shift': ('expected_shift', 'measured', '', None),
        'towards_zenith': ('towards_zenith', 'measured', '', None),
        'across_zenith': ('across_zenith', 'measured', '', None),
        'rotation': ('rotation', 'measured', '', None), 'scatter': ('scatter', 'number', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ColorStars(Record):
    """One color by itself.

    Attributes
    ----------
    color : str
        Its name.
    wavelength : Quantity (nm)
        Middle of its passband; NaN = not known.
    stars : int
        Stars that serve.
    hfr : Quantity (pix)
        Their median half-flux radius: what is larger in one color is out of focus there.
    """

    color: str
    wavelength: u.Quantity
    stars: int
    hfr: u.Quantity

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'color': ('color', 'text', '', None), 'wavelength': ('wavelength_nm', 'number', 'nm', None),
        'stars': ('stars', 'integer', '', None), 'hfr': ('hfr_px', 'number', 'pix', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ComaFreePoint(Record):
    """Where coma vanishes on the sensor:

    the axis of the telescope's coma meets it there.

    Attributes
    ----------
    verdict : {"told", "outside", "not-told"}
        What is told.
    reason : str
        Why no place is told, a sentence; empty where it is.
    x : Measured
        Place, to the right of the sensor's middle.
    y : Measured
        Place, upwards.
    column : Measured
        Column of the place.
    row : Measured
        Row of the place.
    distance : Measured
        Distance from the sensor's middle, what its uncertainty adds on average taken off
        its square.
    share : Measured
        The same over half the diagonal.
    direction : Measured
        Direction in which it lies; NaN where the coma in the middle does not stand out,
        and where the sign of its growth is open.
    ellipse_long : Quantity (um)
        Half axis of the ellipse of one standard uncertainty, the longer one.
    ellipse_short : Quantity (um)
        The shorter one.
    ellipse_angle : Quantity (deg)
        Direction of the longer one.
    at_least : Quantity (um)
        It is at least so far from the middle, with 95 % confidence; 0 where it may lie
        there.
    either_way : bool
        Whether it may as well lie the opposite way, since the sign of the growth is open.
    middle : Quantity (nm)
        Coma in the middle, Noll 8 (x) and Noll 7 (y), as used here.
    slope : Measured
        How coma grows with the distance.
    """

    verdict: str
    reason: str
    x: Measured
    y: Measured
    column: Measured
    row: Measured
    distance: Measured
    share: Measured
    direction: Measured
    ellipse_long: u.Quantity
    ellipse_short: u.Quantity
    ellipse_angle: u.Quantity
    at_least: u.Quantity
    either_way: bool
    middle: u.Quantity
    slope: Measured

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'verdict': ('verdict', 'choice', '', None), 'reason': ('reason', 'text', '', None),
        'x': ('x', 'measured', '', None), 'y': ('y', 'measured', '', None),
        'column': ('column', 'measured', '', None), 'row': ('row', 'measured', '', None),
        'distance': ('distance', 'measured', '', None), 'share': ('share', 'measured', '', None),
        'direction': ('direction', 'measured', '', None),
        'ellipse_long': ('ellipse_long_um', 'number', 'um', None),
        'ellipse_short': ('ellipse_short_um', 'number', 'um', None),
        'ellipse_angle': ('ellipse_angle_deg', 'number', 'deg', None),
        'at_least': ('at_least_um', 'number', 'um', None),
        'either_way': ('either_way', 'flag', '', None),
        'middle': ('middle', 'array 1 f8', 'nm', None), 'slope': ('slope', 'measured', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ComaAxisResult(Record):
    """Where the coma-free axis of the telescope meets the sensor, from defocused stars at
    several places.

    Attributes
    ----------
    coma_free : ComaFreePoint
        The place by the coma of these stars alone.
    coma_free_by_theory : ComaFreePoint
        The same with the growth of a single paraboloid's coma; null where the objective
        is not said to be one.
    theory_used : bool
        Whether the place that is used, and judged, is the one by theory.
    coma_middle_x : Measured
        Coma in the middle of the sensor, Noll 8.
    coma_middle_y : Measured
        Noll 7 in the middle.
    mirror_turn : Measured
        By how much a single paraboloid has to be turned to bring the place to the middle;
        NaN for other objectives.
    star_x : Quantity (pix)
        Column of each star.
    star_y : Quantity (pix)
        Row of each star.
    star_coma_x : Quantity (nm)
        Noll 8 of each star.
    star_coma_y : Quantity (nm)
        Noll 7 of each star.
    star_coma_x_uncertainty : Quantity (nm)
        Standard uncertainty of each Noll 8, without the air that all share.
    star_coma_y_uncertainty : Quantity (nm)
        The same of Noll 7.
    residual_x : Quantity (nm)
        Measured less the law, Noll 8.
    residual_y : Quantity (nm)
        Measured less the law, Noll 7.
    law : ndarray
        The law: Noll 8 + i Noll 7 = c0 + i c1 + c2 h, h the place from the middle in mm.
    chi_squared : float
        Chi squared of the stars about the law.
    degrees_of_freedom : int
        Its degrees of freedom.
    probability : float
        Probability of so large a chi squared if the law and the bars hold.
    width : int
        Columns of the frames.
    height : int
        Rows of the frames.
    pitch : Quantity (um)
        Pixel pitch.
    wavelength : Quantity (nm)
        Wavelength.
    decided : bool
        Whether a place was told and nothing forbids using it to decide.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    coma_free: ComaFreePoint
    coma_free_by_theory: ComaFreePoint
    theory_used: bool
    coma_middle_x: Measured
    coma_middle_y: Measured
    mirror_turn: Measured
    star_x: u.Quantity
    star_y: u.Quantity
    star_coma_x: u.Quantity
    star_coma_y: u.Quantity
    star_coma_x_uncertainty: u.Quantity
    star_coma_y_uncertainty: u.Quantity
    residual_x: u.Quantity
    residual_y: u.Quantity
    law: np.ndarray
    chi_squared: float
    degrees_of_freedom: int
    probability: float
    width: int
    height: int
    pitch: u.Quantity
    wavelength: u.Quantity
    decided: bool
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'coma_free': ('coma_free', 'record', '', ComaFreePoint),
        'coma_free_by_theory': ('coma_free_by_theory', 'record', '', ComaFreePoint),
        'theory_used': ('theory_used', 'flag', '', None),
        'coma_middle_x': ('coma_middle_x', 'measured', '', None),
        'coma_middle_y': ('coma_middle_y', 'measured', '', None),
        'mirror_turn': ('mirror_turn', 'measured', '', None),
        'star_x': ('star_x', 'array 1 f8', 'pix', None),
        'star_y': ('star_y', 'array 1 f8', 'pix', None),
        'star_coma_x': ('star_coma_x', 'array 1 f8', 'nm', None),
        'star_coma_y': ('star_coma_y', 'array 1 f8', 'nm', None),
        'star_coma_x_uncertainty': ('star_coma_x_uncertainty_nm', 'array 1 f8', 'nm', None),
        'star_coma_y_uncertainty': ('star_coma_y_uncertainty_nm', 'array 1 f8', 'nm', None),
        'residual_x': ('residual_x', 'array 1 f8', 'nm', None),
        'residual_y': ('residual_y', 'array 1 f8', 'nm', None),
        'law': ('law', 'array 1 f8', '', None), 'chi_squared': ('chi_squared', 'number', '', None),
        'degrees_of_freedom': ('degrees_of_freedom', 'integer', '', None),
        'probability': ('probability', 'number', '', None), 'width': ('width', 'integer', '', None),
        'height': ('height', 'integer', '', None), 'pitch': ('pitch_um', 'number', 'um', None),
        'wavelength': ('wavelength_nm', 'number', 'nm', None),
        'decided': ('decided', 'flag', '', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class CombinedQuantities(Record):
    """Each quantity once, with the mean of all measurements that gave it.

    Attributes
    ----------
    quantities : tuple of Quantity
        The means, in the order in which the quantities came first.
    notes : tuple of Note
        Whether the measurements agree; the subject is the quantity's label.
    """

    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Comparison(Record):
    """Two instruments compared in one quantity.

    Attributes
    ----------
    ranking : {"first", "second", "not-told-apart"}
        The better one, when the score exceeds 1.
    difference : Measured
        First minus second.
    score : float
        Difference over its expanded uncertainty, as the En number of proficiency tests.
    probability_first_better : float
        From the normal distribution about the difference.
    reason : str
        One sentence.
    """

    ranking: str
    difference: Measured
    score: float
    probability_first_better: float
    reason: str

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'ranking': ('ranking', 'choice', '', None),
        'difference': ('difference', 'measured', '', None), 'score': ('score', 'number', '', None),
        'probability_first_better': ('probability_first_better', 'number', '', None),
        'reason': ('reason', 'text', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class DecidingChance(Record):
    """How likely it is that so many pairs decide a claim.

    Attributes
    ----------
    right : ndarray
        Share of the nights that decided it rightly, by the number of pairs from 1.
    wrong : ndarray
        Share that decided it wrongly.
    needed : int
        Least number of pairs that reaches the wanted share; 0 when none that was tried
        does.
    reached : float
        The share that is promised for it (for the most pairs when none suffices): what
        was counted, less the standard error of the count, so that chance in the
        simulation promises nothing.
    sentence : str
        The promise, with what it rests on.
    """

    right: np.ndarray
    wrong: np.ndarray
    needed: int
    reached: float
    sentence: str

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'right': ('right', 'array 1 f8', '', None), 'wrong': ('wrong', 'array 1 f8', '', None),
        'needed': ('needed', 'integer', '', None), 'reached': ('reached', 'number', '', None),
        'sentence': ('sentence', 'text', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Decision(Record):
    """A decision with its grounds.

    Attributes
    ----------
    verdict : {"met", "not-met", "not-decided"}
        Met, not met, or not decided.
    claim : Claim
        The claim.
    result : Measured
        What was measured.
    probability_of_conformity : float
        Probability that the true value keeps the range; NaN without a number. Where a
        bound in one direction stands beside the uncertainty, the least (for "not met" the
        largest) that it allows.
    guard_band : float
        Distance from a limit within which nothing is decided, in the claim's unit.
    accept_lower : float
        Least measured value that is "met"; minus infinity when there is no lower limit.
    accept_upper : float
        Largest measured value that is "met".
    risk : float
        Accepted probability of a wrong decision.
    count_needed : float
        How many frames or pairs in all would decide if the value stays as it is; 0 when
        already decided, infinite when no number would, NaN when it cannot be said.
    reason : str
        Why, in one sentence.
    next_test : str
        What would decide it; empty when it is decided.
    notes : tuple of Note
        Doubts and reservations.
    """

    verdict: str
    claim: Claim | None
    result: Measured
    probability_of_conformity: float
    guard_band: float
    accept_lower: float
    accept_upper: float
    risk: float
    count_needed: float
    reason: str
    next_test: str
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'verdict': ('verdict', 'choice', '', None), 'claim': ('claim', 'record', '', Claim),
        'result': ('result', 'measured', '', None),
        'probability_of_conformity': ('probability_of_conformity', 'number', '', None),
        'guard_band': ('guard_band', 'number', '', None),
        'accept_lower': ('accept_lower', 'number', '', None),
        'accept_upper': ('accept_upper', 'number', '', None), 'risk': ('risk', 'number', '', None),
        'count_needed': ('count_needed', 'number', '', None),
        'reason': ('reason', 'text', '', None), 'next_test': ('next_test', 'text', '', None),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class DustRing(Record):
    """The shadow of a grain of dust that stands before the sensor:

    the image of the aperture, its hole included.

    Attributes
    ----------
    x : Quantity (pix)
        Middle.
    y : Quantity (pix)
        Middle.
    width : Measured
        Outer diameter in pixels.
    diameter : Measured
        The same on the sensor.
    depth : Measured
        Share of the light that it takes within the ring.
    distance : Measured
        Of the grain before the sensor, in air: the diameter times the focal ratio. A
        glass between both, of the thickness t and the index n, makes the true distance
        longer by t (1 - 1 / n).
    whole : bool
        Whether all of it lies within the frame.
    """

    x: u.Quantity
    y: u.Quantity
    width: Measured
    diameter: Measured
    depth: Measured
    distance: Measured
    whole: bool

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'x': ('x', 'number', 'pix', None), 'y': ('y', 'number', 'pix', None),
        'width': ('width', 'measured', '', None), 'diameter': ('diameter', 'measured', '', None),
        'depth': ('depth', 'measured', '', None), 'distance': ('distance', 'measured', '', None),
        'whole': ('whole', 'flag', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class EdgeGhost(Record):
    """A patch of light in the dark that the distance from the edge does not explain.

    Attributes
    ----------
    x : Quantity (pix)
        Middle, pixels.
    y : Quantity (pix)
        Middle, pixels.
    distance : Quantity (pix)
        From the edge.
    area : Quantity (pix)
        Square root of its area.
    level : float
        Its light above what surrounds it, over that of the bright side.
    significance : float
        That over its noise.
    """

    x: u.Quantity
    y: u.Quantity
    distance: u.Quantity
    area: u.Quantity
    level: float
    significance: float

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'x': ('x', 'number', 'pix', None), 'y': ('y', 'number', 'pix', None),
        'distance': ('distance_px', 'number', 'pix', None),
        'area': ('area_px', 'number', 'pix', None), 'level': ('level', 'number', '', None),
        'significance': ('significance', 'number', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class EdgeContrastResult(Record):
    """How sharply a bright edge is imaged, and how dark the dark beside it is.

    Attributes
    ----------
    width : Measured
        Width of the edge from 10 to 90 % of its step, pixel included, on the sensor.
    width_on_sky : Measured
        The same on the sky.
    mtf50 : Measured
        Frequency at which the MTF with the pixel taken out (and the air, where it was
        given) falls to a half.
    recorded_mtf50 : Measured
        The same for the MTF as recorded, pixel included.
    mtf_quarter_nyquist : Measured
        MTF as recorded at a quarter of the pixels' Nyquist frequency.
    mtf_half_nyquist : Measured
        The same at half of it.
    frequency : Quantity (1 / pix)
        Frequencies along the edge's normal; the Nyquist frequency is 0.5.
    mtf : ndarray
        MTF as recorded: telescope, air, tracking, pixel.
    mtf_uncertainty : ndarray
        Its standard uncertainty.
    pixel_mtf : ndarray
        That of the square pixel alone, along the normal.
    seeing_mtf : ndarray
        That of the air as given; 1 without it.
    optics_mtf : ndarray
        MTF with pixel and given air taken out; NaN where they leave less than a fifth.
    optics_mtf_uncertainty : ndarray
        Its standard uncertainty.
    perfect_mtf : ndarray
        That of a perfect aperture of the same size and obstruction; NaN when the aperture
        is not given.
    distance : Quantity (pix)
        Distance from the edge towards the dark, for edge and line spread.
    edge_spread : ndarray
        Edge spread: light over that of the bright side at the edge, the far dark being 0.
    line_spread : ndarray
        Line spread: minus the edge spread's derivative by pixels.
    surface_profile : ndarray
        What of the edge spread belongs to the surface itself: its brightness from the
        edge inward.
    normal : Quantity (deg)
        Direction of the edge's normal towards the dark, in the middle of what was used.
    radius : Quantity (pix)
        Radius of the edge; infinite when straight.
    center_x : Quantity (pix)
        Middle of the circle, pixels; NaN when straight.
    center_y : Quantity (pix)
        Middle of the circle, pixels; NaN when straight.
    length : Quantity (pix)
        Length of the edge that was used.
    roughness : Quantity (pix)
        RMS of the edge's departure from circle or line.
    left_roughness : Quantity (pix)
        RMS of what is left after following it.
    edge_x : Quantity (pix)
        Points along the edge used, x.
    edge_y : Quantity (pix)
        Points along the edge used, y.
    bright : Quantity (adu)
        Level of the bright side at the edge, above the far dark.
    dark : Quantity (adu)
        Level of the dark side, the level without light taken off where it is known.
    edge_glare : Measured
        Light in the dark at the stated distance from the edge over that of the bright
        side; NaN without the level without light.
    glare_distance : Quantity (arcmin)
        That distance.
    glare_index : Measured
        Veiling glare index in the sense of ISO 9358: light in the middle of a black patch
        over that round it; NaN for other edges.
    glare_radius : Quantity (pix)
        Distances from the edge of the glare's profile.
    glare : ndarray
        Light there over that of the bright side.
    glare_uncertainty : ndarray
        Its standard uncertainty.
    ghosts : tuple of EdgeGhost
        Patches of light in the dark that the distance does not explain.
    columns : int
        Columns of the frame.
    rows : int
        Rows of the frame.
    picture : ndarray, 2 axes
        The frame in a coarse grid, for pictures: rows from the lowest y, ADU.
    picture_cell : Quantity (pix)
        Side of one of its cells.
    pitch : Quantity (um)
        Pixel pitch.
    pixel_scale : Quantity (arcsec / pix)
        Angle that a pixel sees.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    width: Measured
    width_on_sky: Measured
    mtf50: Measured
    recorded_mtf50: Measured
    mtf_quarter_nyquist: Measured
    mtf_half_nyquist: Measured
    frequency: u.Quantity
    mtf: np.ndarray
    mtf_uncertainty: np.ndarray
    pixel_mtf: np.ndarray
    seeing_mtf: np.ndarray
    optics_mtf: np.ndarray
    optics_mtf_uncertainty: np.ndarray
    perfect_mtf: np.ndarray
    distance: u.Quantity
    edge_spread: np.ndarray
    line_spread: np.ndarray
    surface_profile: np.ndarray
    normal: u.Quantity
    radius: u.Quantity
    center_x: u.Quantity
    center_y: u.Quantity
    length: u.Quantity
    roughness: u.Quantity
    left_roughness: u.Quantity
    edge_x: u.Quantity
    edge_y: u.Quantity
    bright: u.Quantity
    dark: u.Quantity
    edge_glare: Measured
    glare_distance: u.Quantity
    glare_index: Measured
    glare_radius: u.Quantity
    glare: np.ndarray
    glare_uncertainty: np.ndarray
    ghosts: tuple[EdgeGhost, ...]
    columns: int
    rows: int
    picture: np.ndarray
    picture_cell: u.Quantity
    pitch: u.Quantity
    pixel_scale: u.Quantity
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'width': ('width', 'measured', 'um', None),
        'width_on_sky': ('width_on_sky', 'measured', 'arcsec', None),
        'mtf50': ('mtf50', 'measured', '1 / mm', None),
        'recorded_mtf50': ('recorded_mtf50', 'measured', '1 / mm', None),
        'mtf_quarter_nyquist': ('mtf_quarter_nyquist', 'measured', '', None),
        'mtf_half_nyquist': ('mtf_half_nyquist', 'measured', '', None),
        'frequency': ('frequency', 'array 1 f8', '1 / pix', None),
        'mtf': ('mtf', 'array 1 f8', '', None),
        'mtf_uncertainty': ('mtf_uncertainty', 'array 1 f8', '', None),
        'pixel_mtf': ('pixel_mtf', 'array 1 f8', '', None),
        'seeing_mtf': ('seeing_mtf', 'array 1 f8', '', None),
        'optics_mtf': ('optics_mtf', 'array 1 f8', '', None),
        'optics_mtf_uncertainty': ('optics_mtf_uncertainty', 'array 1 f8', '', None),
        'perfect_mtf': ('perfect_mtf', 'array 1 f8', '', None),
        'distance': ('distance_px', 'array 1 f8', 'pix', None),
        'edge_spread': ('edge_spread', 'array 1 f8', '', None),
        'line_spread': ('line_spread', 'array 1 f8', '', None),
        'surface_profile': ('surface_profile', 'array 1 f8', '', None),
        'normal': ('normal_deg', 'number', 'deg', None),
        'radius': ('radius_px', 'number', 'pix', None),
        'center_x': ('center_x', 'number', 'pix', None),
        'center_y': ('center_y', 'number', 'pix', None),
        'length': ('length_px', 'number', 'pix', None),
        'roughness': ('roughness_px', 'number', 'pix', None),
        'left_roughness': ('left_roughness_px', 'number', 'pix', None),
        'edge_x': ('edge_x', 'array 1 f8', 'pix', None),
        'edge_y': ('edge_y', 'array 1 f8', 'pix', None),
        'bright': ('bright_adu', 'number', 'adu', None),
        'dark': ('dark_adu', 'number', 'adu', None),
        'edge_glare': ('edge_glare', 'measured', '', None),
        'glare_distance': ('glare_distance_arcmin', 'number', 'arcmin', None),
        'glare_index': ('glare_index', 'measured', '', None),
        'glare_radius': ('glare_radius_px', 'array 1 f8', 'pix', None),
        'glare': ('glare', 'array 1 f8', '', None),
        'glare_uncertainty': ('glare_uncertainty', 'array 1 f8', '', None),
        'ghosts': ('ghosts', 'records', '', EdgeGhost), 'columns': ('columns', 'integer', '', None),
        'rows': ('rows', 'integer', '', None), 'picture': ('picture', 'array 2 f8', '', None),
        'picture_cell': ('picture_cell_px', 'number', 'pix', None),
        'pitch': ('pitch_um', 'number', 'um', None),
        'pixel_scale': ('pixel_scale_arcsec_per_px', 'number', 'arcsec / pix', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class FamilyCourse(Record):
    """One family of aberrations from pair to pair.

    Attributes
    ----------
    name : str
        Of the family.
    x : Quantity (nm)
        Noll 6, 8, 11, 10 of each pair.
    y : Quantity (nm)
        Noll 5, 7, none, 9 of each pair.
    bar : Quantity (nm)
        Standard uncertainty of one component of one pair, without what all pairs share,
        scatter included where it is larger.
    change_x : Measured
        Steady change of the first component.
    change_y : Measured
        Of the second; NaN for spherical aberration.
    change : Measured
        Size of the change; with its sign for spherical aberration.
    probability : float
        Of so large a change by chance.
    told : bool
        Whether it is told from none.
    """

    name: str
    x: u.Quantity
    y: u.Quantity
    bar: u.Quantity
    change_x: Measured
    change_y: Measured
    change: Measured
    probability: float
    told: bool

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'name': ('name', 'text', '', None), 'x': ('x', 'array 1 f8', 'nm', None),
        'y': ('y', 'array 1 f8', 'nm', None), 'bar': ('bar_nm', 'number', 'nm', None),
        'change_x': ('change_x', 'measured', '', None),
        'change_y': ('change_y', 'measured', '', None), 'change': ('change', 'measured', '', None),
        'probability': ('probability', 'number', '', None), 'told': ('told', 'flag', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class FormatSharpness(Record):
    """Sharpness on one sensor format about the middle of the frame.

    Attributes
    ----------
    format : str
        Its name.
    width : Quantity (mm)
        Of the sensor.
    height : Quantity (mm)
        Of the sensor.
    center : Measured
        FWHM in the middle.
    mid_field : Measured
        FWHM half-way to the corners, mean of four places.
    edge : Measured
        FWHM in the middles of the four edges, their mean.
    corner : Measured
        FWHM in the four corners, their mean.
    worst_corner : Measured
        FWHM in the corner where it is largest.
    corner_hfr : Measured
        Half-flux radius in the corners, their mean.
    corner_ellipticity : Measured
        1 - b/a in the corners, root mean square.
    """

    format: str
    width: u.Quantity
    height: u.Quantity
    center: Measured
    mid_field: Measured
    edge: Measured
    corner: Measured
    worst_corner: Measured
    corner_hfr: Measured
    corner_ellipticity: Measured

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'format': ('format', 'text', '', None), 'width': ('width_mm', 'number', 'mm', None),
        'height': ('height_mm', 'number', 'mm', None), 'center': ('center', 'measured', '', None),
        'mid_field': ('mid_field', 'measured', '', None), 'edge': ('edge', 'measured', '', None),
        'corner': ('corner', 'measured', '', None),
        'worst_corner': ('worst_corner', 'measured', '', None),
        'corner_hfr': ('corner_hfr', 'measured', '', None),
        'corner_ellipticity': ('corner_ellipticity', 'measured', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class SharpnessPart(Record):
    """One line of the sharpness budget.

    Attributes
    ----------
    part : str
        "diffraction", "seeing", "focus", "tracking", "pixels", "measured" or "left".
    place : str
        "everywhere", "center" or "corners".
    on_sky : Measured
        FWHM by itself; of a cause without a width of its own NaN.
    on_sensor : Measured
        The same on the sensor.
    adds : Quantity (arcsec)
        By how much the FWHM of all known causes together shrinks without it; NaN where it
        does not apply.
    known : bool
        Whether it was given or follows from what was given.
    meaning : str
        What it is.
    """

    part: str
    place: str
    on_sky: Measured
    on_sensor: Measured
    adds: u.Quantity
    known: bool
    meaning: str

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'part': ('part', 'text', '', None), 'place': ('place', 'text', '', None),
        'on_sky': ('on_sky', 'measured', '', None),
        'on_sensor': ('on_sensor', 'measured', '', None),
        'adds': ('adds_arcsec', 'number', 'arcsec', None), 'known': ('known', 'flag', '', None),
        'meaning': ('meaning', 'text', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class FieldSharpnessResult(Record):
    """Sharpness and roundness of the stars over one frame.

    Widths are those of the light before the pixels.

    Attributes
    ----------
    center_fwhm : Measured
        FWHM in the middle of the frame.
    corner_fwhm : Measured
        FWHM in the corners of the frame, their mean.
    center_fwhm_on_sky : Measured
        FWHM in the middle, on the sky; NaN without a scale.
    corner_fwhm_on_sky : Measured
        FWHM in the corners, on the sky.
    corner_to_center : Measured
        FWHM of the corners over that of the middle.
    corner_ellipticity : Measured
        1 - b/a of the stars in the corners, root mean square over the four.
    common_lengthening : Measured
        Lengthening that all stars share, as 1 - b/a.
    common_direction : Quantity (deg)
        Direction of that, -90 to 90 degrees.
    radial_lengthening : Measured
        Lengthening in the corners towards the middle, the common part taken off;
        negative: across (tangential).
    other_lengthening : Measured
        What is neither: root mean square over the frame.
    blur_limit : Quantity (um)
        FWHM that the blur must not exceed within the sharp circle.
    sharp_circle : Measured
        Diameter of the circle about the middle within which the FWHM stays under the
        limit.
    sharp_everywhere : bool
        Whether the blur stays under the limit in the whole frame, so that the circle is
        at least as large as stated.
    formats : tuple of FormatSharpness
        The frame and the sensor formats that fit into it.
    causes : tuple of BlurCause
        What the pattern over the field means, as far as it is decided.
    budget : tuple of SharpnessPart
        Where the blur comes from, in the middle and in the corners; empty without
        aperture or scale.
    stars : int
        Stars behind the sizes.
    x : Quantity (pix)
        Column of each of these stars.
    y : Quantity (pix)
        Row of each star.
    star_fwhm : Quantity (um)
        FWHM of each star; NaN where no profile was fitted.
    star_hfr : Quantity (um)
        Half-flux radius of each star.
    star_ellipticity : ndarray
        1 - b/a of each star, noise included.
    star_direction : Quantity (deg)
        Direction of its long axis.
    fwhm_map : Quantity (um), 2 axes
        Smooth FWHM over the frame, rows from below; columns and rows are spread evenly
        from edge to edge.
    fwhm_map_uncertainty : Quantity (um), 2 axes
        Its standard uncertainty.
    hfr_map : Quantity (um), 2 axes
        Smooth half-flux radius.
    lengthening_map_x : ndarray, 2 axes
        Smooth lengthening along +x against +y: 1 - b/a times the cosine of twice the
        direction.
    lengthening_map_xy : ndarray, 2 axes
        The same along the diagonals: 1 - b/a times the sine of twice the direction.
    lengthening_map_uncertainty : ndarray, 2 axes
        Standard uncertainty of either, the larger of the two.
    width : int
        Columns of the frame.
    height : int
        Rows of the frame.
    pitch : Quantity (um)
        Pixel pitch.
    pixel_scale : Quantity (arcsec / pix)
        Side of a pixel on the sky; NaN when not known.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    center_fwhm: Measured
    corner_fwhm: Measured
    center_fwhm_on_sky: Measured
    corner_fwhm_on_sky: Measured
    corner_to_center: Measured
    corner_ellipticity: Measured
    common_lengthening: Measured
    common_direction: u.Quantity
    radial_lengthening: Measured
    other_lengthening: Measured
    blur_limit: u.Quantity
    sharp_circle: Measured
    sharp_everywhere: bool
    formats: tuple[FormatSharpness, ...]
    causes: tuple[BlurCause, ...]
    budget: tuple[SharpnessPart, ...]
    stars: int
    x: u.Quantity
    y: u.Quantity
    star_fwhm: u.Quantity
    star_hfr: u.Quantity
    star_ellipticity: np.ndarray
    star_direction: u.Quantity
    fwhm_map: u.Quantity
    fwhm_map_uncertainty: u.Quantity
    hfr_map: u.Quantity
    lengthening_map_x: np.ndarray
    lengthening_map_xy: np.ndarray
    lengthening_map_uncertainty: np.ndarray
    width: int
    height: int
    pitch: u.Quantity
    pixel_scale: u.Quantity
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'center_fwhm': ('center_fwhm', 'measured', '', None),
        'corner_fwhm': ('corner_fwhm', 'measured', '', None),
        'center_fwhm_on_sky': ('center_fwhm_on_sky', 'measured', '', None),
        'corner_fwhm_on_sky': ('corner_fwhm_on_sky', 'measured', '', None),
        'corner_to_center': ('corner_to_center', 'measured', '', None),
        'corner_ellipticity': ('corner_ellipticity', 'measured', '', None),
        'common_lengthening': ('common_lengthening', 'measured', '', None),
        'common_direction': ('common_direction_deg', 'number', 'deg', None),
        'radial_lengthening': ('radial_lengthening', 'measured', '', None),
        'other_lengthening': ('other_lengthening', 'measured', '', None),
        'blur_limit': ('blur_limit_um', 'number', 'um', None),
        'sharp_circle': ('sharp_circle', 'measured', '', None),
        'sharp_everywhere': ('sharp_everywhere', 'flag', '', None),
        'formats': ('formats', 'records', '', FormatSharpness),
        'causes': ('causes', 'records', '', BlurCause),
        'budget': ('budget', 'records', '', SharpnessPart), 'stars': ('stars', 'integer', '', None),
        'x': ('x', 'array 1 f8', 'pix', None), 'y': ('y', 'array 1 f8', 'pix', None),
        'star_fwhm': ('star_fwhm_um', 'array 1 f8', 'um', None),
        'star_hfr': ('star_hfr_um', 'array 1 f8', 'um', None),
        'star_ellipticity': ('star_ellipticity', 'array 1 f8', '', None),
        'star_direction': ('star_direction_deg', 'array 1 f8', 'deg', None),
        'fwhm_map': ('fwhm_map_um', 'array 2 f8', 'um', None),
        'fwhm_map_uncertainty': ('fwhm_map_uncertainty_um', 'array 2 f8', 'um', None),
        'hfr_map': ('hfr_map_um', 'array 2 f8', 'um', None),
        'lengthening_map_x': ('lengthening_map_x', 'array 2 f8', '', None),
        'lengthening_map_xy': ('lengthening_map_xy', 'array 2 f8', '', None),
        'lengthening_map_uncertainty': ('lengthening_map_uncertainty', 'array 2 f8', '', None),
        'width': ('width', 'integer', '', None), 'height': ('height', 'integer', '', None),
        'pitch': ('pitch_um', 'number', 'um', None),
        'pixel_scale': ('pixel_scale_arcsec_per_px', 'number', 'arcsec / pix', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class FittedImage(Record):
    """One image of the fit:

    window of pixels with its model.

    Attributes
    ----------
    name : str
        Name of the frame.
    x0 : int
        Frame column of the window's first pixel (after undoing the orientation).
    y0 : int
        Frame row of the window's first pixel.
    binning : int
        Frame pixels along the side of one pixel here.
    observed : ndarray, 2 axes
        Electrons; row y, column x.
    model : ndarray, 2 axes
        Electrons.
    residual : ndarray, 2 axes
        (observed - model) in standard deviations, 0 where masked.
    masked : ndarray, 2 axes
        True where the pixel did not count.
    distance : Measured
        Sensor's distance from best focus, um, negative inside.
    defocus_waves : float
        The same as path at the edge, waves.
    flux : Measured
        Light of the star, electrons.
    background : Measured
        Background, electrons a pixel.
    """

    name: str
    x0: int
    y0: int
    binning: int
    observed: np.ndarray
    model: np.ndarray
    residual: np.ndarray
    masked: np.ndarray
    distance: Measured
    defocus_waves: float
    flux: Measured
    background: Measured

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'name': ('name', 'text', '', None), 'x0': ('x0', 'integer', '', None),
        'y0': ('y0', 'integer', '', None), 'binning': ('binning', 'integer', '', None),
        'observed': ('observed', 'array 2 f4', '', None),
        'model': ('model', 'array 2 f4', '', None),
        'residual': ('residual', 'array 2 f4', '', None),
        'masked': ('masked', 'array 2 b1', '', None),
        'distance': ('distance', 'measured', '', None),
        'defocus_waves': ('defocus_waves', 'number', '', None),
        'flux': ('flux', 'measured', '', None), 'background': ('background', 'measured', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class FocusSurfaceResult(Record):
    """Best focus over the sensor:

    sensor position at which the stars of a place are smallest, growing away from the
    objective.

    Attributes
    ----------
    best_focus : Measured
        Best focus in the middle of the sensor, a position of the run.
    tilt_across_width : Measured
        By how much the best focus lies farther from the objective at the right edge than
        at the left, by its slope in the middle.
    tilt_across_height : Measured
        The same at the upper edge against the lower.
    sensor_tilt : Measured
        Largest difference of both from corner to corner.
    tilt_angle : Measured
        Angle between sensor and best plane.
    tilt_direction : Quantity (deg)
        Side of the sensor that has to come away from the objective: from +x towards +y.
    curvature_sag : Measured
        Best focus of the corners less that of the middle, tilt taken off; negative: the
        surface bends towards the objective.
    curvature_radius : Measured
        Radius of the surface: r^2 / (2 sag), negative towards the objective; its
        uncertainty is NaN where a flat surface is within two standard uncertainties.
    focus_spread : Measured
        Best focus over the whole sensor, largest less least.
    astigmatic_split : Measured
        Tangential less sagittal focus at the corners, their mean round the sensor; NaN
        when too few stars have a shape.
    middle_split : Measured
        Distance of the two foci of a star in the middle of the sensor.
    middle_split_direction : Quantity (deg)
        Direction of the lines that stars there become outside of focus: from +x towards
        +y.
    aberration_shift : Quantity (um)
        By how much coma, astigmatism and trefoil together may move the place where stars
        are smallest, root mean square over the field; what of it tilts or bends the
        surface is in the uncertainties.
    depth_of_focus : Quantity (um)
        Depth of focus to either side, 2 wavelength N^2: a quarter wave of defocus.
    in_focus_share : float
        Share of the sensor within the depth of focus at the best position for the whole.
    in_focus_share_level : float
        The same with the tilt cured.
    best_position : Quantity (um)
        Position that serves most of the sensor.
    backlash : Measured
        By how much the focuser stands farther from the objective when it moved towards it
        than when it moved away; NaN for a run in one direction.
    blur_growth : float
        How much larger the blur grows with the focuser than focal ratio and positions
        say; 1 = as they say.
    positions : Quantity (um)
        Sensor position of each frame.
    frame_hfr : Quantity (um)
        Median half-flux radius of each frame; NaN for a frame left out.
    frame_model : Quantity (um)
        The same as the fit has it.
    frame_stars : ndarray
        Stars of each frame behind the fit; 0 for a frame left out.
    x : Quantity (pix)
        Column of each star in the frame with the most stars.
    y : Quantity (pix)
        Row of each star.
    star_focus : Quantity (um)
        Best focus of each star by itself.
    star_focus_uncertainty : Quantity (um)
        Its standard uncertainty.
    surface : Quantity (um)
        The surface at each star.
    coefficients : Quantity (um)
        The surface: z = c0 + c1 u + c2 v + c3 (u^2 + v^2), u and v from the middle over
        half the diagonal.
    width : int
        Columns of the frames.
    height : int
        Rows of the frames.
    pitch : Quantity (um)
        Pixel pitch.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    best_focus: Measured
    tilt_across_width: Measured
    tilt_across_height: Measured
    sensor_tilt: Measured
    tilt_angle: Measured
    tilt_direction: u.Quantity
    curvature_sag: Measured
    curvature_radius: Measured
    focus_spread: Measured
    astigmatic_split: Measured
    middle_split: Measured
    middle_split_direction: u.Quantity
    aberration_shift: u.Quantity
    depth_of_focus: u.Quantity
    in_focus_share: float
    in_focus_share_level: float
    best_position: u.Quantity
    backlash: Measured
    blur_growth: float
    positions: u.Quantity
    frame_hfr: u.Quantity
    frame_model: u.Quantity
    frame_stars: np.ndarray
    x: u.Quantity
    y: u.Quantity
    star_focus: u.Quantity
    star_focus_uncertainty: u.Quantity
    surface: u.Quantity
    coefficients: u.Quantity
    width: int
    height: int
    pitch: u.Quantity
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'best_focus': ('best_focus', 'measured', '', None),
        'tilt_across_width': ('tilt_across_width', 'measured', '', None),
        'tilt_across_height': ('tilt_across_height', 'measured', '', None),
        'sensor_tilt': ('sensor_tilt', 'measured', '', None),
        'tilt_angle': ('tilt_angle', 'measured', '', None),
        'tilt_direction': ('tilt_direction_deg', 'number', 'deg', None),
        'curvature_sag': ('curvature_sag', 'measured', '', None),
        'curvature_radius': ('curvature_radius', 'measured', '', None),
        'focus_spread': ('focus_spread', 'measured', '', None),
        'astigmatic_split': ('astigmatic_split', 'measured', '', None),
        'middle_split': ('middle_split', 'measured', '', None),
        'middle_split_direction': ('middle_split_direction_deg', 'number', 'deg', None),
        'aberration_shift': ('aberration_shift_um', 'number', 'um', None),
        'depth_of_focus': ('depth_of_focus_um', 'number', 'um', None),
        'in_focus_share': ('in_focus_share', 'number', '', None),
        'in_focus_share_level': ('in_focus_share_level', 'number', '', None),
        'best_position': ('best_position_um', 'number', 'um', None),
        'backlash': ('backlash', 'measured', '', None),
        'blur_growth': ('blur_growth', 'number', '', None),
        'positions': ('positions_um', 'array 1 f8', 'um', None),
        'frame_hfr': ('frame_hfr_um', 'array 1 f8', 'um', None),
        'frame_model': ('frame_model_um', 'array 1 f8', 'um', None),
        'frame_stars': ('frame_stars', 'array 1 i4', '', None),
        'x': ('x', 'array 1 f8', 'pix', None), 'y': ('y', 'array 1 f8', 'pix', None),
        'star_focus': ('star_focus_um', 'array 1 f8', 'um', None),
        'star_focus_uncertainty': ('star_focus_uncertainty_um', 'array 1 f8', 'um', None),
        'surface': ('surface_um', 'array 1 f8', 'um', None),
        'coefficients': ('coefficients', 'array 1 f8', 'um', None),
        'width': ('width', 'integer', '', None), 'height': ('height', 'integer', '', None),
        'pitch': ('pitch_um', 'number', 'um', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class LateralColorResult(Record):
    """By how much the image in one color is larger than, and displaced against, that in
    another.

    Attributes
    ----------
    lateral_color : Measured
        Lateral color: of all pairs of colors the largest difference of image height at
        the corners of the sensor.
    lateral_color_angle : Measured
        The same on the sky; NaN without a focal length.
    airy_share : float
        The same over the diameter of the Airy disc, 2.44 wavelength N; NaN without a
        focal ratio and wavelengths.
    worst_pair : str
        The pair that it belongs to.
    pairs : tuple of ColorPair
        Each pair of colors; those with the reference first.
    colors : tuple of ColorStars
        Each color by itself.
    radius : Quantity (mm)
        Distances from the middle of the sensor.
    curve : Quantity (um), 2 axes
        Radial difference of image height there, [pair, distance].
    curve_uncertainty : Quantity (um), 2 axes
        Its standard uncertainty.
    pair : ndarray
        Number of the pair that each star below was compared in.
    x : Quantity (pix)
        Column of each star.
    y : Quantity (pix)
        Row of each star.
    offset_x : Quantity (pix)
        Offset of each star between both colors along x, constant and rotation taken off.
    offset_y : Quantity (pix)
        The same along y.
    offset_uncertainty : Quantity (pix)
        Standard uncertainty of each, with the scatter that the stars show.
    used : ndarray
        1 for stars behind the fit, 0 for those that stand too far off.
    width : int
        Columns of the frames.
    height : int
        Rows of the frames.
    pitch : Quantity (um)
        Pixel pitch.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    lateral_color: Measured
    lateral_color_angle: Measured
    airy_share: float
    worst_pair: str
    pairs: tuple[ColorPair, ...]
    colors: tuple[ColorStars, ...]
    radius: u.Quantity
    curve: u.Quantity
    curve_uncertainty: u.Quantity
    pair: np.ndarray
    x: u.Quantity
    y: u.Quantity
    offset_x: u.Quantity
    offset_y: u.Quantity
    offset_uncertainty: u.Quantity
    used: np.ndarray
    width: int
    height: int
    pitch: u.Quantity
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'lateral_color': ('lateral_color', 'measured', '', None),
        'lateral_color_angle': ('lateral_color_angle', 'measured', '', None),
        'airy_share': ('airy_share', 'number', '', None),
        'worst_pair': ('worst_pair', 'text', '', None),
        'pairs': ('pairs', 'records', '', ColorPair),
        'colors': ('colors', 'records', '', ColorStars),
        'radius': ('radius', 'array 1 f8', 'mm', None),
        'curve': ('curve', 'array 2 f8', 'um', None),
        'curve_uncertainty': ('curve_uncertainty', 'array 2 f8', 'um', None),
        'pair': ('pair', 'array 1 i4', '', None), 'x': ('x', 'array 1 f8', 'pix', None),
        'y': ('y', 'array 1 f8', 'pix', None), 'offset_x': ('offset_x', 'array 1 f8', 'pix', None),
        'offset_y': ('offset_y', 'array 1 f8', 'pix', None),
        'offset_uncertainty': ('offset_uncertainty', 'array 1 f8', 'pix', None),
        'used': ('used', 'array 1 i4', '', None), 'width': ('width', 'integer', '', None),
        'height': ('height', 'integer', '', None), 'pitch': ('pitch_um', 'number', 'um', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class LensColorResult(Record):
    """Theory curve of a thin lens.

    Attributes
    ----------
    glasses : tuple of str
        Glass of each element, front to back.
    focal_length : Quantity (mm)
        Focal length.
    reference : Quantity (nm)
        Zero of the curve.
    wavelength : Quantity (nm)
        Wavelengths, nm.
    shift : Quantity (um)
        Focus shift, um, positive = longer.
    powers : ndarray
        Power of each element.
    index_d : ndarray
        Index of each element at d.
    abbe_number : ndarray
        Abbe number of each.
    """

    glasses: tuple[str, ...]
    focal_length: u.Quantity
    reference: u.Quantity
    wavelength: u.Quantity
    shift: u.Quantity
    powers: np.ndarray
    index_d: np.ndarray
    abbe_number: np.ndarray

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'glasses': ('glasses', 'texts', '', None),
        'focal_length': ('focal_length_mm', 'number', 'mm', None),
        'reference': ('reference_nm', 'number', 'nm', None),
        'wavelength': ('wavelength_nm', 'array 1 f8', 'nm', None),
        'shift': ('shift_um', 'array 1 f8', 'um', None),
        'powers': ('powers', 'array 1 f8', '', None),
        'index_d': ('index_d', 'array 1 f8', '', None),
        'abbe_number': ('abbe_number', 'array 1 f8', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Moonlight(Record):
    """How bright the Moon's limb is, for planning.

    Attributes
    ----------
    brightness : Quantity (mag / arcsec2)
        Of the lit part in the mean, V magnitudes a square arcsecond.
    longest : Quantity (s)
        Exposure at which the bright limb reaches the level.
    """

    brightness: u.Quantity
    longest: u.Quantity

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'brightness': ('brightness', 'number', 'mag / arcsec2', None),
        'longest': ('longest_s', 'number', 's', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class NightConditionsResult(Record):
    """What a night did to the stars, frame by frame in order of time, and what of it
    changes with time.

    Attributes
    ----------
    zenith_fwhm : Measured
        Typical FWHM over the hours of the frames, reduced to the zenith and 500 nm,
        diffraction taken off where the aperture is known. The bar holds how little a few
        hours of wandering air say. At most that much is the air's: optics, focus and
        mount are in it.
    lower_quartile : Quantity (arcsec)
        A quarter of the frames lie below, reduced alike.
    upper_quartile : Quantity (arcsec)
        A quarter of the frames lie above.
    trend : Measured
        Steady change of the reduced FWHM through the night; NaN from too few frames.
    trend_verdict : str
        What the trend was told to be: "rising", "falling", or "not decided".
    frame_scatter : Quantity (%)
        Relative scatter of the frames about level and trend, measurement noise taken out.
    independent_frames : float
        As many frames without correlation would tell the level as well.
    median_fwhm : Measured
        Median FWHM of the frames as measured.
    best_fwhm : Measured
        Mean FWHM of the best fifth of the frames as measured, trailed ones left out:
        optics, focus and pixels cannot be worse.
    added_fwhm : Measured
        Blur by the air that the best frames need to become the median ones, by the 5/3
        power.
    steady_ellipticity : Measured
        Lengthening, 1 - b/a, that all stars share through the night, noise taken out:
        optics, or a steady drift.
    steady_angle : Quantity (deg)
        Its direction, from +x towards +y.
    changing_ellipticity : float
        Root mean square lengthening of single frames beside that, noise taken out: wind,
        guiding.
    focus_growth : Measured
        By how much the stars grow from one refocusing to the next, beyond what the night
        does; NaN where the focuser was not moved.
    refocus_interval : Quantity (h)
        Typical time between refocusings.
    growth_drift : Measured
        Speed of the focus that would make the stars grow so, whichever way it moves; NaN
        without aperture and focal length.
    largest_drift : Quantity (um / h)
        Speed of the focus, from the best one on, that could hide in the rise of a night
        without refocusing (two standard uncertainties); NaN where it does not apply.
    focus_drift : Measured
        Change of best focus with time, from focus runs or the places to which the focuser
        was moved; um / h or steps / h.
    focus_drift_with_temperature : Measured
        Its change with temperature; um / K or steps / K.
    cooling_time : Measured
        Time constant of an exponential; NaN where it is not decided.
    final_focus : Measured
        Where best focus comes to rest by it.
    best_frames : ndarray
        Numbers of the frames of the best fifth, best first, from 0 in order of time.
    wavelength : Quantity (nm)
        Middle of the passband that was reckoned with.
    time : Quantity (h)
        Middle of each exposure.
    fwhm : Quantity (arcsec)
        Median FWHM of each frame.
    fwhm_uncertainty : Quantity (arcsec)
        Its standard uncertainty by the stars' scatter.
    reduced_fwhm : Quantity (arcsec)
        The same across the direction of a trail, diffraction taken off, reduced to the
        zenith and 500 nm.
    reduced_fwhm_uncertainty : Quantity (arcsec)
        Its standard uncertainty.
    airmass : ndarray
        Airmass.
    ellipticity : ndarray
        Lengthening that the frame's stars share.
    ellipticity_uncertainty : ndarray
        Its standard uncertainty.
    angle : Quantity (deg)
        Its direction, from +x towards +y.
    focus : ndarray
        Focuser position, um or steps.
    stars : ndarray
        Clean stars.
    flags : ndarray
        Sum of FrameMarks.
    curve_time : Quantity (h)
        Times of the model.
    curve : Quantity (arcsec)
        Level and trend as fitted.
    curve_uncertainty : Quantity (arcsec)
        Its standard uncertainty.
    run_time : Quantity (h)
        Times of the places of best focus.
    run_focus : ndarray
        Places of best focus, um or steps.
    focus_is_length : bool
        Whether places of best focus and their drift are um; else steps.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    zenith_fwhm: Measured
    lower_quartile: u.Quantity
    upper_quartile: u.Quantity
    trend: Measured
    trend_verdict: str
    frame_scatter: u.Quantity
    independent_frames: float
    median_fwhm: Measured
    best_fwhm: Measured
    added_fwhm: Measured
    steady_ellipticity: Measured
    steady_angle: u.Quantity
    changing_ellipticity: float
    focus_growth: Measured
    refocus_interval: u.Quantity
    growth_drift: Measured
    largest_drift: u.Quantity
    focus_drift: Measured
    focus_drift_with_temperature: Measured
    cooling_time: Measured
    final_focus: Measured
    best_frames: np.ndarray
    wavelength: u.Quantity
    time: u.Quantity
    fwhm: u.Quantity
    fwhm_uncertainty: u.Quantity
    reduced_fwhm: u.Quantity
    reduced_fwhm_uncertainty: u.Quantity
    airmass: np.ndarray
    ellipticity: np.ndarray
    ellipticity_uncertainty: np.ndarray
    angle: u.Quantity
    focus: np.ndarray
    stars: np.ndarray
    flags: np.ndarray
    curve_time: u.Quantity
    curve: u.Quantity
    curve_uncertainty: u.Quantity
    run_time: u.Quantity
    run_focus: np.ndarray
    focus_is_length: bool
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'zenith_fwhm': ('zenith_fwhm', 'measured', '', None),
        'lower_quartile': ('lower_quartile_arcsec', 'number', 'arcsec', None),
        'upper_quartile': ('upper_quartile_arcsec', 'number', 'arcsec', None),
        'trend': ('trend', 'measured', '', None),
        'trend_verdict': ('trend_verdict', 'text', '', None),
        'frame_scatter': ('frame_scatter', 'number', '%', None),
        'independent_frames': ('independent_frames', 'number', '', None),
        'median_fwhm': ('median_fwhm', 'measured', '', None),
        'best_fwhm': ('best_fwhm', 'measured', '', None),
        'added_fwhm': ('added_fwhm', 'measured', '', None),
        'steady_ellipticity': ('steady_ellipticity', 'measured', '', None),
        'steady_angle': ('steady_angle_deg', 'number', 'deg', None),
        'changing_ellipticity': ('changing_ellipticity', 'number', '', None),
        'focus_growth': ('focus_growth', 'measured', '', None),
        'refocus_interval': ('refocus_interval', 'number', 'h', None),
        'growth_drift': ('growth_drift', 'measured', '', None),
        'largest_drift': ('largest_drift', 'number', 'um / h', None),
        'focus_drift': ('focus_drift', 'measured', '', None),
        'focus_drift_with_temperature': ('focus_drift_with_temperature', 'measured', '', None),
        'cooling_time': ('cooling_time', 'measured', '', None),
        'final_focus': ('final_focus', 'measured', '', None),
        'best_frames': ('best_frames', 'array 1 i4', '', None),
        'wavelength': ('wavelength_nm', 'number', 'nm', None),
        'time': ('time', 'array 1 f8', 'h', None),
        'fwhm': ('fwhm_arcsec', 'array 1 f8', 'arcsec', None),
        'fwhm_uncertainty': ('fwhm_uncertainty_arcsec', 'array 1 f8', 'arcsec', None),
        'reduced_fwhm': ('reduced_fwhm_arcsec', 'array 1 f8', 'arcsec', None),
        'reduced_fwhm_uncertainty': ('reduced_fwhm_uncertainty_arcsec', 'array 1 f8', 'arcsec', None),
        'airmass': ('airmass', 'array 1 f8', '', None),
        'ellipticity': ('ellipticity', 'array 1 f8', '', None),
        'ellipticity_uncertainty': ('ellipticity_uncertainty', 'array 1 f8', '', None),
        'angle': ('angle_deg', 'array 1 f8', 'deg', None),
        'focus': ('focus', 'array 1 f8', '', None), 'stars': ('stars', 'array 1 i4', '', None),
        'flags': ('flags', 'array 1 i4', '', None),
        'curve_time': ('curve_time', 'array 1 f8', 'h', None),
        'curve': ('curve_arcsec', 'array 1 f8', 'arcsec', None),
        'curve_uncertainty': ('curve_uncertainty_arcsec', 'array 1 f8', 'arcsec', None),
        'run_time': ('run_time', 'array 1 f8', 'h', None),
        'run_focus': ('run_focus', 'array 1 f8', '', None),
        'focus_is_length': ('focus_is_length', 'flag', '', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class OrderOfMerit(Record):
    """Instruments in order of merit, each compared with the next by the one rule for two
    instruments.

    Attributes
    ----------
    names : tuple of str
        Best first.
    order : ndarray
        Place of each in the request, best first.
    decided : ndarray
        Whether each is told apart from the next; one fewer than names.
    reasons : tuple of str
        Each comparison in a sentence.
    """

    names: tuple[str, ...]
    order: np.ndarray
    decided: np.ndarray
    reasons: tuple[str, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'names': ('names', 'texts', '', None), 'order': ('order', 'array 1 i4', '', None),
        'decided': ('decided', 'array 1 b1', '', None), 'reasons': ('reasons', 'texts', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class OverallAnswer(Record):
    """The answer that a lender, buyer or club can act on.

    Attributes
    ----------
    answer : {"keep", "adjust-and-measure-again", "return", "not-decided-yet"}
        What to do.
    sentence : str
        The answer with its reason.
    next_step : str
        What to do next; empty when nothing is left.
    costs : str
        Which choice costs less in the mean when it must be made now; empty without stated
        costs or with nothing open.
    """

    answer: str
    sentence: str
    next_step: str
    costs: str

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'answer': ('answer', 'choice', '', None), 'sentence': ('sentence', 'text', '', None),
        'next_step': ('next_step', 'text', '', None), 'costs': ('costs', 'text', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class PairAlone(Record):
    """One pair fitted alone.

    Attributes
    ----------
    coefficient : Quantity (nm)
        Its coefficients in the fit's order.
    rms : Quantity (nm)
        Its RMS.
    chi_squared : float
        Its chi squared per degree of freedom.
    distance : Quantity (um)
        Distances of its two images from best focus, negative inside.
    """

    coefficient: u.Quantity
    rms: u.Quantity
    chi_squared: float
    distance: u.Quantity

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'coefficient': ('coefficient_nm', 'array 1 f8', 'nm', None),
        'rms': ('rms_nm', 'number', 'nm', None), 'chi_squared': ('chi_squared', 'number', '', None),
        'distance': ('distance_um', 'array 1 f8', 'um', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class PlannedQuantity(Record):
    """One quantity over the simulated nights.

    Attributes
    ----------
    name : str
        Name from the one list.
    unit : str
        Its unit.
    truth : float
        Value that was assumed to be true.
    values : ndarray, 2 axes
        What the nights would give: row n - 1 holds those with n pairs, one column a
        night; NaN where a doubt stands against it.
    uncertainties : ndarray, 2 axes
        The standard uncertainty that they would state.
    """

    name: str
    unit: str
    truth: float
    values: np.ndarray
    uncertainties: np.ndarray

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'name': ('name', 'text', '', None), 'unit': ('unit', 'text', '', None),
        'truth': ('truth', 'number', '', None), 'values': ('values', 'array 2 f8', '', None),
        'uncertainties': ('uncertainties', 'array 2 f8', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class PairPlan(Record):
    """What pairs that are still to be taken would give.

    Attributes
    ----------
    quantities : tuple of PlannedQuantity
        Each quantity that claims can be about.
    chi_squared : float
        Mean of the drawn pairs: what the air leaves in a finite exposure makes it exceed
        1.
    doubted : int
        How many of the drawn pairs got a note of doubt; their share of the nights decides
        nothing.
    draws : int
        How many pairs were drawn.
    doubts : tuple of str
        What was doubted, each text once.
    """

    quantities: tuple[PlannedQuantity, ...]
    chi_squared: float
    doubted: int
    draws: int
    doubts: tuple[str, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'quantities': ('quantities', 'records', '', PlannedQuantity),
        'chi_squared': ('chi_squared', 'number', '', None),
        'doubted': ('doubted', 'integer', '', None), 'draws': ('draws', 'integer', '', None),
        'doubts': ('doubts', 'texts', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class PlateScaleResult(Record):
    """Focal length, distortion and field of view of a frame.

    Pixels are counted from 0, x right, y up.

    Attributes
    ----------
    focal_length : Measured
        Focal length at the middle of the frame: pitch over the tangent that a pixel sees.
    reducer_factor : Measured
        Focal length over the stated one of the telescope alone; NaN without that.
    focal_ratio : Measured
        Focal length over aperture; NaN without an aperture.
    pixel_scale : Measured
        Side of a pixel on the sky at the middle of the frame, geometric mean of both
        directions.
    distortion_edge : Measured
        Relative distortion at the corner of the frame: (height - ideal height) / ideal
        height; NaN where it was not fitted.
    field_of_view_width : Measured
        Angle between the middles of the left and the right edge.
    field_of_view_height : Measured
        Angle between the middles of the lower and the upper edge.
    field_of_view_diagonal : Measured
        The larger of the angles between opposite corners.
    anamorphism : Measured
        Largest over smallest scale, less one.
    north_angle : Quantity (deg)
        Direction of north in the frame, from +x towards +y.
    mirrored : bool
        True when east lies clockwise from north in the frame (x right, y up).
    distortion_order : int
        Highest power of the image height in the distortion: 5, 3, or 1 where none was
        fitted.
    field_angle : Quantity (deg)
        Angles from the middle of the frame to its corner at which the distortion is
        given.
    ideal_height : Quantity (mm)
        Focal length times the tangent of each angle.
    distortion : Quantity (%)
        Relative distortion at each angle.
    distortion_uncertainty : Quantity (%)
        Its standard uncertainty.
    x : Quantity (pix)
        Column of each star.
    y : Quantity (pix)
        Row of each star.
    x_residual : Quantity (pix)
        Measured less fitted column.
    y_residual : Quantity (pix)
        Measured less fitted row.
    star_angle : Quantity (deg)
        Angle of each star from the middle of the frame.
    star_distortion : Quantity (%)
        Radial distortion that each star shows by itself: the fitted one and its residual
        along the radius.
    used : ndarray
        Which stars are behind the fit; the others are wrong matches.
    residual_rms : Quantity (pix)
        Root mean square residual of the used stars, one axis.
    added_scatter : Quantity (pix)
        What was added in quadrature to the stars' uncertainties, so that they explain the
        residuals.
    center_xi : float
        Gnomonic coordinate of the middle of the frame, towards east.
    center_eta : float
        Gnomonic coordinate of the middle of the frame, towards north.
    source : {"list", "solution"}
        Where the sky positions come from.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    focal_length: Measured
    reducer_factor: Measured
    focal_ratio: Measured
    pixel_scale: Measured
    distortion_edge: Measured
    field_of_view_width: Measured
    field_of_view_height: Measured
    field_of_view_diagonal: Measured
    anamorphism: Measured
    north_angle: u.Quantity
    mirrored: bool
    distortion_order: int
    field_angle: u.Quantity
    ideal_height: u.Quantity
    distortion: u.Quantity
    distortion_uncertainty: u.Quantity
    x: u.Quantity
    y: u.Quantity
    x_residual: u.Quantity
    y_residual: u.Quantity
    star_angle: u.Quantity
    star_distortion: u.Quantity
    used: np.ndarray
    residual_rms: u.Quantity
    added_scatter: u.Quantity
    center_xi: float
    center_eta: float
    source: str
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'focal_length': ('focal_length', 'measured', '', None),
        'reducer_factor': ('reducer_factor', 'measured', '', None),
        'focal_ratio': ('focal_ratio', 'measured', '', None),
        'pixel_scale': ('pixel_scale', 'measured', '', None),
        'distortion_edge': ('distortion_edge', 'measured', '', None),
        'field_of_view_width': ('field_of_view_width', 'measured', '', None),
        'field_of_view_height': ('field_of_view_height', 'measured', '', None),
        'field_of_view_diagonal': ('field_of_view_diagonal', 'measured', '', None),
        'anamorphism': ('anamorphism', 'measured', '', None),
        'north_angle': ('north_angle_deg', 'number', 'deg', None),
        'mirrored': ('mirrored', 'flag', '', None),
        'distortion_order': ('distortion_order', 'integer', '', None),
        'field_angle': ('field_angle_deg', 'array 1 f8', 'deg', None),
        'ideal_height': ('ideal_height_mm', 'array 1 f8', 'mm', None),
        'distortion': ('distortion', 'array 1 f8', '%', None),
        'distortion_uncertainty': ('distortion_uncertainty', 'array 1 f8', '%', None),
        'x': ('x', 'array 1 f8', 'pix', None), 'y': ('y', 'array 1 f8', 'pix', None),
        'x_residual': ('x_residual_px', 'array 1 f8', 'pix', None),
        'y_residual': ('y_residual_px', 'array 1 f8', 'pix', None),
        'star_angle': ('star_angle_deg', 'array 1 f8', 'deg', None),
        'star_distortion': ('star_distortion', 'array 1 f8', '%', None),
        'used': ('used', 'array 1 b1', '', None),
        'residual_rms': ('residual_rms_px', 'number', 'pix', None),
        'added_scatter': ('added_scatter_px', 'number', 'pix', None),
        'center_xi': ('center_xi', 'number', '', None),
        'center_eta': ('center_eta', 'number', '', None), 'source': ('source', 'choice', '', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class QuantityComparison(Record):
    """One quantity compared, or why it is not.

    Attributes
    ----------
    comparable : bool
        False when conditions were too unlike, or a number is in doubt.
    ranking : {"first", "second", "not-told-apart"}
        The better one, when the score exceeds 1; not told apart where neither is better
        or nothing is decided.
    differ : bool
        True when they are told apart, whichever is better.
    difference : Measured
        Second minus first; its uncertainty holds what the air may have done to it.
    score : float
        Difference over its expanded uncertainty, bounds in one direction taken at their
        worst.
    reason : str
        One sentence.
    """

    comparable: bool
    ranking: str
    differ: bool
    difference: Measured
    score: float
    reason: str

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'comparable': ('comparable', 'flag', '', None), 'ranking': ('ranking', 'choice', '', None),
        'differ': ('differ', 'flag', '', None), 'difference': ('difference', 'measured', '', None),
        'score': ('score', 'number', '', None), 'reason': ('reason', 'text', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ReducedSpectrum(Record):
    """One frame, reduced.

    Arrays over columns run along the dispersion, those over bins too.

    Attributes
    ----------
    name : str
        Name of the frame.
    trace : Quantity (pix)
        Center of the spectrum across the dispersion at each column, pixels.
    first_column : int
        Column of the frame at which it begins.
    flux : Quantity (adu)
        Flux in each column, ADU, background taken off.
    flux_uncertainty : Quantity (adu)
        Standard uncertainty of the flux.
    background : Quantity (adu)
        Background in each column at the spectrum, ADU a pixel.
    masked : ndarray
        Columns left out: clipped, off the frame, or in a strong line.
    in_line : ndarray
        Columns in a strong line or band.
    bin_column : ndarray
        Mean column of each bin.
    width : Quantity (pix)
        Half the range that holds 68.3 % of the profile, pixels: model-free.
    width_uncertainty : Quantity (pix)
        Its standard uncertainty from noise.
    signal_to_noise : ndarray
        Flux over noise of the whole bin.
    profile : Quantity (adu), 2 axes
        Profiles, bins x rows, ADU summed over the bin's columns.
    noise_variance : ndarray, 2 axes
        Variance of the background and read noise in the profiles, ADU^2.
    first_row : int
        Row of the first profile sample from the trace, pixels (whole).
    subpixel_mean : ndarray
        Mean and variance of the trace's subpixel place within each bin, pixels and
        pixels^2.
    subpixel_variance : ndarray
        Variance that belongs to it.
    gain : Quantity (electron / adu)
        Electrons for one ADU, given or estimated.
    background_sigma : Quantity (adu)
        Noise of one background pixel, ADU.
    trace_polynomial : ndarray
        Polynomial of the trace over the column, lowest power first, column scaled to -1
        ... 1.
    trace_scatter : Quantity (pix)
        Scatter of the block centers about the polynomial, pixels.
    rejected_pixels : int
        Pixels of the spectrum rejected as cosmic rays or hot.
    notes : tuple of Note
        What must be known.
    """

    name: str
    trace: u.Quantity
    first_column: int
    flux: u.Quantity
    flux_uncertainty: u.Quantity
    background: u.Quantity
    masked: np.ndarray
    in_line: np.ndarray
    bin_column: np.ndarray
    width: u.Quantity
    width_uncertainty: u.Quantity
    signal_to_noise: np.ndarray
    profile: u.Quantity
    noise_variance: np.ndarray
    first_row: int
    subpixel_mean: np.ndarray
    subpixel_variance: np.ndarray
    gain: u.Quantity
    background_sigma: u.Quantity
    trace_polynomial: np.ndarray
    trace_scatter: u.Quantity
    rejected_pixels: int
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'name': ('name', 'text', '', None), 'trace': ('trace_px', 'array 1 f8', 'pix', None),
        'first_column': ('first_column', 'integer', '', None),
        'flux': ('flux', 'array 1 f8', 'adu', None),
        'flux_uncertainty': ('flux_uncertainty', 'array 1 f8', 'adu', None),
        'background': ('background', 'array 1 f8', 'adu', None),
        'masked': ('masked', 'array 1 b1', '', None),
        'in_line': ('in_line', 'array 1 b1', '', None),
        'bin_column': ('bin_column', 'array 1 f8', '', None),
        'width': ('width_px', 'array 1 f8', 'pix', None),
        'width_uncertainty': ('width_uncertainty_px', 'array 1 f8', 'pix', None),
        'signal_to_noise': ('signal_to_noise', 'array 1 f8', '', None),
        'profile': ('profile', 'array 2 f8', 'adu', None),
        'noise_variance': ('noise_variance', 'array 2 f8', '', None),
        'first_row': ('first_row', 'integer', '', None),
        'subpixel_mean': ('subpixel_mean', 'array 1 f8', '', None),
        'subpixel_variance': ('subpixel_variance', 'array 1 f8', '', None),
        'gain': ('gain_electrons_per_adu', 'number', 'electron / adu', None),
        'background_sigma': ('background_sigma_adu', 'number', 'adu', None),
        'trace_polynomial': ('trace_polynomial', 'array 1 f8', '', None),
        'trace_scatter': ('trace_scatter_px', 'number', 'pix', None),
        'rejected_pixels': ('rejected_pixels', 'integer', '', None),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class Refinement(Record):
    """What the bare fit found.

    Attributes
    ----------
    coefficient : Quantity (nm)
        Noll 5 upwards, nm.
    covariance : Quantity (nm2), 2 axes
        Of the coefficients, not scaled by misfit.
    cost : float
        Sum of squared weighted residuals.
    distances : Quantity (um)
        Sensor positions, um.
    seeing : Quantity (arcsec)
        FWHM.
    iterations : int
        Steps.
    """

    coefficient: u.Quantity
    covariance: u.Quantity
    cost: float
    distances: u.Quantity
    seeing: u.Quantity
    iterations: int

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'coefficient': ('coefficient_nm', 'array 1 f8', 'nm', None),
        'covariance': ('covariance_nm2', 'array 2 f8', 'nm2', None),
        'cost': ('cost', 'number', '', None),
        'distances': ('distances_um', 'array 1 f8', 'um', None),
        'seeing': ('seeing_arcsec', 'number', 'arcsec', None),
        'iterations': ('iterations', 'integer', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ReflectionCircle(Record):
    """One round outline in the photo.

    Attributes
    ----------
    number : int
        Counted from the largest, 1 first.
    x : Measured
        Middle of the circle in the straightened picture.
    y : Measured
        Middle of the circle in the straightened picture.
    radius : Measured
        Radius there.
    axis_ratio : float
        Short over long axis with distortion and perspective taken out; 1 seen from its
        axis.
    oblique : Quantity (deg)
        By how much its plane is tilted against the line of sight, by that ratio.
    bright_inside : bool
        Whether the bright side is the inner one.
    edge_width : Quantity (pix)
        Width of its edge from 10 to 90 %.
    contrast : float
        Step at the edge over the range of light in the photo.
    covered : float
        Share of the outline that was used.
    inside : float
        Share of the outline that lies in the photo.
    clipped : float
        Share of the outline whose bright side is clipped.
    roughness : Quantity (pix)
        RMS of the edge's departure from an ellipse.
    picture_x : Quantity (pix)
        Middle of the ellipse in the picture as it is.
    picture_y : Quantity (pix)
        Middle of the ellipse in the picture as it is.
    picture_long : Quantity (pix)
        Long half axis there.
    picture_short : Quantity (pix)
        Short half axis there.
    picture_angle : Quantity (deg)
        Direction of the long axis there.
    """

    number: int
    x: Measured
    y: Measured
    radius: Measured
    axis_ratio: float
    oblique: u.Quantity
    bright_inside: bool
    edge_width: u.Quantity
    contrast: float
    covered: float
    inside: float
    clipped: float
    roughness: u.Quantity
    picture_x: u.Quantity
    picture_y: u.Quantity
    picture_long: u.Quantity
    picture_short: u.Quantity
    picture_angle: u.Quantity

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'number': ('number', 'integer', '', None), 'x': ('x', 'measured', 'pix', None),
        'y': ('y', 'measured', 'pix', None), 'radius': ('radius', 'measured', 'pix', None),
        'axis_ratio': ('axis_ratio', 'number', '', None),
        'oblique': ('oblique_deg', 'number', 'deg', None),
        'bright_inside': ('bright_inside', 'flag', '', None),
        'edge_width': ('edge_width_px', 'number', 'pix', None),
        'contrast': ('contrast', 'number', '', None), 'covered': ('covered', 'number', '', None),
        'inside': ('inside', 'number', '', None), 'clipped': ('clipped', 'number', '', None),
        'roughness': ('roughness_px', 'number', 'pix', None),
        'picture_x': ('picture_x', 'number', 'pix', None),
        'picture_y': ('picture_y', 'number', 'pix', None),
        'picture_long': ('picture_long_px', 'number', 'pix', None),
        'picture_short': ('picture_short_px', 'number', 'pix', None),
        'picture_angle': ('picture_angle_deg', 'number', 'deg', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ReflectionPair(Record):
    """How far a circle is out of the middle of one round it.

    Attributes
    ----------
    outer : int
        Number of the larger circle.
    inner : int
        Number of the smaller one.
    offset_x : Measured
        Middle of the smaller less that of the larger.
    offset_y : Measured
        Middle of the smaller less that of the larger.
    offset : Measured
        Length of that.
    share : Measured
        The length over the radius of the larger.
    on_objective : Measured
        The length in the plane of the objective's edge; NaN without its diameter.
    direction : Measured
        Direction in the picture, from +x towards +y.
    told : bool
        Whether it stands out of its uncertainty (by chance 1 in 100 does).
    """

    outer: int
    inner: int
    offset_x: Measured
    offset_y: Measured
    offset: Measured
    share: Measured
    on_objective: Measured
    direction: Measured
    told: bool

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'outer': ('outer', 'integer', '', None), 'inner': ('inner', 'integer', '', None),
        'offset_x': ('offset_x', 'measured', 'pix', None),
        'offset_y': ('offset_y', 'measured', 'pix', None),
        'offset': ('offset', 'measured', 'pix', None), 'share': ('share', 'measured', '', None),
        'on_objective': ('on_objective', 'measured', 'mm', None),
        'direction': ('direction', 'measured', 'deg', None), 'told': ('told', 'flag', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ReflectionsResult(Record):
    """Round outlines in a photo of reflections, and how well they have one middle.

    Attributes
    ----------
    circles : tuple of ReflectionCircle
        The outlines, largest first.
    pairs : tuple of ReflectionPair
        Every circle against every larger one round it.
    spot_offset : Measured
        The dark spot out of the middle of the objective's edge, share of its radius; NaN
        unless both were named.
    objective_tilt : Measured
        Tilt of the objective's axis against the line from its middle to the sight hole.
    objective_tilt_x : Measured
        Along x of the picture: which way the normal at the objective's middle leans, seen
        from the hole.
    objective_tilt_y : Measured
        The same along y.
    focuser_aim : Measured
        Angle by which the focuser's axis misses the middle of the objective, seen from
        the sight hole.
    focuser_aim_x : Measured
        Along x of the picture: to which side it misses.
    focuser_aim_y : Measured
        The same along y.
    axis_tilt : Measured
        Tilt of the focuser's axis against the objective's axis: both together.
    axis_tilt_x : Measured
        Along x of the picture.
    axis_tilt_y : Measured
        The same along y.
    objective : int
        Circle taken as the objective's edge; 0: none.
    spot : int
        Circle taken as the dark spot; 0: none.
    sight : int
        Circle taken as the far end of the focuser; 0: none.
    distortion : float
        Distortion that was taken out, share at the picture's corner.
    decided : bool
        Whether nothing forbids a decision.
    columns : int
        Columns of the photo.
    rows : int
        Rows of the photo.
    picture : ndarray, 2 axes
        The photo in a coarse grid, for pictures: rows from the lowest y, square root of
        the light over its range.
    picture_cell : Quantity (pix)
        Side of one of its cells.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    circles: tuple[ReflectionCircle, ...]
    pairs: tuple[ReflectionPair, ...]
    spot_offset: Measured
    objective_tilt: Measured
    objective_tilt_x: Measured
    objective_tilt_y: Measured
    focuser_aim: Measured
    focuser_aim_x: Measured
    focuser_aim_y: Measured
    axis_tilt: Measured
    axis_tilt_x: Measured
    axis_tilt_y: Measured
    objective: int
    spot: int
    sight: int
    distortion: float
    decided: bool
    columns: int
    rows: int
    picture: np.ndarray
    picture_cell: u.Quantity
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'circles': ('circles', 'records', '', ReflectionCircle),
        'pairs': ('pairs', 'records', '', ReflectionPair),
        'spot_offset': ('spot_offset', 'measured', '', None),
        'objective_tilt': ('objective_tilt', 'measured', 'arcmin', None),
        'objective_tilt_x': ('objective_tilt_x', 'measured', 'arcmin', None),
        'objective_tilt_y': ('objective_tilt_y', 'measured', 'arcmin', None),
        'focuser_aim': ('focuser_aim', 'measured', 'arcmin', None),
        'focuser_aim_x': ('focuser_aim_x', 'measured', 'arcmin', None),
        'focuser_aim_y': ('focuser_aim_y', 'measured', 'arcmin', None),
        'axis_tilt': ('axis_tilt', 'measured', 'arcmin', None),
        'axis_tilt_x': ('axis_tilt_x', 'measured', 'arcmin', None),
        'axis_tilt_y': ('axis_tilt_y', 'measured', 'arcmin', None),
        'objective': ('objective', 'integer', '', None), 'spot': ('spot', 'integer', '', None),
        'sight': ('sight', 'integer', '', None), 'distortion': ('distortion', 'number', '', None),
        'decided': ('decided', 'flag', '', None), 'columns': ('columns', 'integer', '', None),
        'rows': ('rows', 'integer', '', None), 'picture': ('picture', 'array 2 f8', '', None),
        'picture_cell': ('picture_cell_px', 'number', 'pix', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class RelativeIlluminationResult(Record):
    """Relative illumination over the sensor (ISO 13653 in sense:

    light at a place over that on the axis) and what clips it.

    Attributes
    ----------
    corner_illumination : Measured
        Illumination of the darkest corner over that on the axis.
    corners : tuple of Measured
        The same of each corner: lower left, lower right, upper left, upper right.
    image_circle90 : Measured
        Diameter of the circle within which more than 90 % of the light arrives; NaN when
        nothing clips.
    image_circle75 : Measured
        The same for three quarters.
    image_circle50 : Measured
        The same for half of the light.
    fully_lit : Measured
        Diameter of the circle that the whole cone reaches.
    clear_diameter : Measured
        Clear diameter of the stop that clips; NaN when none is seen.
    stop_distance : Measured
        Its distance before the sensor.
    center_x : Measured
        Middle of the lit circle from the middle of the sensor, to the right.
    center_y : Measured
        The same upwards.
    slope_x : Measured
        Slope of the light from the left to the right edge, a share of the level.
    slope_y : Measured
        The same from the lower to the upper edge.
    natural_corner : float
        Share that the oblique incidence alone leaves in the farthest corner (fourth power
        of the cosine).
    residual_rms : float
        Root mean square of what the cells depart from the fit, a share of the light on
        the axis.
    level : Quantity (adu)
        Light on the axis.
    radius : Quantity (mm)
        Distances from the middle of the lit circle.
    profile : ndarray
        Illumination there as the fit has it.
    measured_profile : ndarray
        Median illumination of the cells round each distance; NaN without any.
    cells : ndarray, 2 axes
        Illumination of the cells, rows from the lowest y, the source's slope taken out;
        NaN where too few pixels serve.
    dust : tuple of DustRing
        Shadows of dust, that of the grain nearest to the sensor first; empty where they
        were not asked for.
    cell : Quantity (pix)
        Side of a cell.
    width : int
        Columns of the frame.
    height : int
        Rows of the frame.
    pitch : Quantity (um)
        Pixel pitch.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    corner_illumination: Measured
    corners: tuple[Measured, ...]
    image_circle90: Measured
    image_circle75: Measured
    image_circle50: Measured
    fully_lit: Measured
    clear_diameter: Measured
    stop_distance: Measured
    center_x: Measured
    center_y: Measured
    slope_x: Measured
    slope_y: Measured
    natural_corner: float
    residual_rms: float
    level: u.Quantity
    radius: u.Quantity
    profile: np.ndarray
    measured_profile: np.ndarray
    cells: np.ndarray
    dust: tuple[DustRing, ...]
    cell: u.Quantity
    width: int
    height: int
    pitch: u.Quantity
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'corner_illumination': ('corner_illumination', 'measured', '', None),
        'corners': ('corners', 'measured list', '', None),
        'image_circle90': ('image_circle90', 'measured', 'mm', None),
        'image_circle75': ('image_circle75', 'measured', 'mm', None),
        'image_circle50': ('image_circle50', 'measured', 'mm', None),
        'fully_lit': ('fully_lit', 'measured', '', None),
        'clear_diameter': ('clear_diameter', 'measured', '', None),
        'stop_distance': ('stop_distance', 'measured', '', None),
        'center_x': ('center_x', 'measured', '', None),
        'center_y': ('center_y', 'measured', '', None),
        'slope_x': ('slope_x', 'measured', '', None), 'slope_y': ('slope_y', 'measured', '', None),
        'natural_corner': ('natural_corner', 'number', '', None),
        'residual_rms': ('residual_rms', 'number', '', None),
        'level': ('level', 'number', 'adu', None),
        'radius': ('radius_mm', 'array 1 f8', 'mm', None),
        'profile': ('profile', 'array 1 f8', '', None),
        'measured_profile': ('measured_profile', 'array 1 f8', '', None),
        'cells': ('cells', 'array 2 f8', '', None), 'dust': ('dust', 'records', '', DustRing),
        'cell': ('cell_px', 'number', 'pix', None), 'width': ('width', 'integer', '', None),
        'height': ('height', 'integer', '', None), 'pitch': ('pitch_um', 'number', 'um', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class SecondOpinionResult(Record):
    """What the independent linear method says of the same images.

    Attributes
    ----------
    coefficient : Quantity (nm)
        Its coefficients in the fit's order; NaN for modes beyond Noll 45, which it takes
        from the fit.
    uncertainty : Quantity (nm)
        Their standard uncertainties.
    difference : Quantity (nm)
        RMS of the difference over all modes that either has, a missing one taken as zero,
        nm.
    expected : Quantity (nm)
        What the bars of both allow for it, nm.
    agrees : bool
        True when the difference stays within twice that.
    """

    coefficient: u.Quantity
    uncertainty: u.Quantity
    difference: u.Quantity
    expected: u.Quantity
    agrees: bool

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'coefficient': ('coefficient_nm', 'array 1 f8', 'nm', None),
        'uncertainty': ('uncertainty_nm', 'array 1 f8', 'nm', None),
        'difference': ('difference_nm', 'number', 'nm', None),
        'expected': ('expected_nm', 'number', 'nm', None), 'agrees': ('agrees', 'flag', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class SpacingResult(Record):
    """The distance between reducer or flattener and sensor at which the corners focus with
    the middle.

    Attributes
    ----------
    best_spacing : Measured
        Distance at which the sag is zero; NaN where the sag does not change with the
        distance beyond its uncertainty.
    spacing_change : Measured
        What to add to the present distance; negative: to take away.
    decided : bool
        Whether the runs tell the best distance.
    direction : {"not-decided", "too-near", "too-far"}
        On which side the present distance lies; said when the risk of being wrong is at
        most 5 %.
    present_distance : Quantity (mm)
        Distance that the change is counted from.
    present_sag : Measured
        Sag there, as the fit has it.
    sag_slope : Measured
        Change of the sag with the distance, at the best distance, or in the middle of
        those tried where that is not told; from one distance what was stated, at this
        sensor's corner.
    sag_bend : Measured
        Second-order part of the sag over the squared distance from the middle of those
        tried; NaN from two distances.
    astigmatic_split : Measured
        Tangential less sagittal focus at the corners, from one distance; NaN from
        several.
    corner_height : Quantity (mm)
        Distance of the sensor's corner from its middle, which the slope holds for; NaN
        where not known.
    straight : bool
        Whether a straight line is what the best distance rests on; else a parabola.
    reduced_chi_squared : float
        Chi squared of the runs about it over its degrees of freedom; NaN where none is
        left.
    tolerance : Quantity (mm)
        By how much the distance may be off, to either side, for corners within the depth
        of focus; NaN where not told.
    depth_of_focus : Quantity (um)
        Depth of focus to either side, 2 wavelength N^2: a quarter wave of defocus.
    focal_ratio : float
        Focal length over aperture.
    distances : Quantity (mm)
        Distance of each run.
    sags : Quantity (um)
        Sag of each run.
    sag_uncertainties : Quantity (um)
        Its standard uncertainty, that of the distance included.
    sag_model : Quantity (um)
        Sag of each run as the fit has it.
    curve_distance : Quantity (mm)
        Distances of the curve; empty where the slope is not known.
    curve_sag : Quantity (um)
        Sag there, as the fit has it.
    curve_uncertainty : Quantity (um)
        Its standard uncertainty.
    corner_blur : Quantity (um)
        Diameter of the disc that a corner's star gets from it with the middle in focus,
        |sag| / N; focus half way between gives both half of it.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    best_spacing: Measured
    spacing_change: Measured
    decided: bool
    direction: str
    present_distance: u.Quantity
    present_sag: Measured
    sag_slope: Measured
    sag_bend: Measured
    astigmatic_split: Measured
    corner_height: u.Quantity
    straight: bool
    reduced_chi_squared: float
    tolerance: u.Quantity
    depth_of_focus: u.Quantity
    focal_ratio: float
    distances: u.Quantity
    sags: u.Quantity
    sag_uncertainties: u.Quantity
    sag_model: u.Quantity
    curve_distance: u.Quantity
    curve_sag: u.Quantity
    curve_uncertainty: u.Quantity
    corner_blur: u.Quantity
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'best_spacing': ('best_spacing', 'measured', '', None),
        'spacing_change': ('spacing_change', 'measured', '', None),
        'decided': ('decided', 'flag', '', None), 'direction': ('direction', 'choice', '', None),
        'present_distance': ('present_distance_mm', 'number', 'mm', None),
        'present_sag': ('present_sag', 'measured', '', None),
        'sag_slope': ('sag_slope', 'measured', '', None),
        'sag_bend': ('sag_bend', 'measured', '', None),
        'astigmatic_split': ('astigmatic_split', 'measured', '', None),
        'corner_height': ('corner_height_mm', 'number', 'mm', None),
        'straight': ('straight', 'flag', '', None),
        'reduced_chi_squared': ('reduced_chi_squared', 'number', '', None),
        'tolerance': ('tolerance_mm', 'number', 'mm', None),
        'depth_of_focus': ('depth_of_focus_um', 'number', 'um', None),
        'focal_ratio': ('focal_ratio', 'number', '', None),
        'distances': ('distances_mm', 'array 1 f8', 'mm', None),
        'sags': ('sags_um', 'array 1 f8', 'um', None),
        'sag_uncertainties': ('sag_uncertainties_um', 'array 1 f8', 'um', None),
        'sag_model': ('sag_model_um', 'array 1 f8', 'um', None),
        'curve_distance': ('curve_distance_mm', 'array 1 f8', 'mm', None),
        'curve_sag': ('curve_sag_um', 'array 1 f8', 'um', None),
        'curve_uncertainty': ('curve_uncertainty_um', 'array 1 f8', 'um', None),
        'corner_blur': ('corner_blur_um', 'array 1 f8', 'um', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class SpectrumTruth(Record):
    """What was drawn.

    Attributes
    ----------
    focus : Quantity (um)
        Focus of each column's color, um, on the curve's own scale.
    """

    focus: u.Quantity

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'focus': ('focus_um', 'array 1 f8', 'um', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class StarExposure(Record):
    """What a star gives, and how long it may be exposed.

    Attributes
    ----------
    airmass : float
        At the star's altitude.
    extinction : Quantity (mag)
        Light that the air takes, magnitudes: typical, since sites and nights differ by a
        tenth and more.
    seeing : Quantity (arcsec)
        Seeing at this altitude and wavelength, FWHM.
    dispersion : Quantity (arcsec)
        Length of the little spectrum that the air makes of the star between the filter's
        edges.
    smear : Quantity (pix)
        The same on the sensor.
    electron_rate : Quantity (electron / s)
        Electrons a second of the whole star.
    defocus : Quantity (um)
        Shift of the sensor to either side of focus.
    blur : Quantity (pix)
        Geometric diameter of the disc, |shift| / N; in focus the FWHM of the star.
    peak_share : float
        Share of the light in the brightest pixel, on the side of focus where it is
        brighter.
    longest : Quantity (s)
        Exposure at which the brightest pixel reaches the level.
    light : Quantity (s)
        Exposure that gathers the electrons wanted.
    scintillation : float
        Relative RMS of the star's light in an exposure of a second; it falls with the
        root of the time.
    """

    airmass: float
    extinction: u.Quantity
    seeing: u.Quantity
    dispersion: u.Quantity
    smear: u.Quantity
    electron_rate: u.Quantity
    defocus: u.Quantity
    blur: u.Quantity
    peak_share: float
    longest: u.Quantity
    light: u.Quantity
    scintillation: float

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'airmass': ('airmass', 'number', '', None),
        'extinction': ('extinction', 'number', 'mag', None),
        'seeing': ('seeing_arcsec', 'number', 'arcsec', None),
        'dispersion': ('dispersion_arcsec', 'number', 'arcsec', None),
        'smear': ('smear_px', 'number', 'pix', None),
        'electron_rate': ('electron_rate', 'number', 'electron / s', None),
        'defocus': ('defocus_um', 'number', 'um', None), 'blur': ('blur_px', 'number', 'pix', None),
        'peak_share': ('peak_share', 'number', '', None),
        'longest': ('longest_s', 'number', 's', None), 'light': ('light_s', 'number', 's', None),
        'scintillation': ('scintillation', 'number', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class ZoneSummary(Record):
    """One part of the field.

    Attributes
    ----------
    zone : str
        "center", "middle", "edge", or a corner: "bottom-left", "bottom-right", "top-
        left", "top-right" (y up). Corners are also part of the edge.
    stars : int
        Clean stars in it.
    hfr : Measured
        Median half-flux radius.
    fwhm : Measured
        Median Moffat FWHM.
    ellipticity : Measured
        Root mean square ellipticity, noise taken out.
    radial_ellipticity : Measured
        Mean radial component (positive: elongated towards the axis).
    """

    zone: str
    stars: int
    hfr: Measured
    fwhm: Measured
    ellipticity: Measured
    radial_ellipticity: Measured

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'zone': ('zone', 'text', '', None), 'stars': ('stars', 'integer', '', None),
        'hfr': ('hfr', 'measured', '', None), 'fwhm': ('fwhm', 'measured', '', None),
        'ellipticity': ('ellipticity', 'measured', '', None),
        'radial_ellipticity': ('radial_ellipticity', 'measured', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class StarField(Record):
    """All stars of a frame, one array a quantity, brightest first.

    Positions in pixels, centers at whole numbers from 0, x right, y up; brightness in ADU;
    NaN where something could not be measured.

    Attributes
    ----------
    x : Quantity (pix)
        Center.
    y : Quantity (pix)
        Center.
    x_uncertainty : Quantity (pix)
        Standard uncertainty of X, pixels.
    y_uncertainty : Quantity (pix)
        Standard uncertainty of Y, pixels.
    flux : Quantity (adu)
        Light inside `outer_radius`, ADU.
    flux_uncertainty : Quantity (adu)
        Standard uncertainty of Flux, ADU.
    peak : Quantity (adu)
        Brightest pixel above the sky, ADU.
    sky : Quantity (adu)
        Sky level at the star, ADU.
    sky_noise : Quantity (adu)
        Noise of a sky pixel at the star, ADU.
    snr : ndarray
        Signal-to-noise ratio by the CCD equation in a circle of `snr_radius`.
    hfr : Quantity (pix)
        Half-flux radius of the light that fell on the pixels, their own blur taken out,
        pixels.
    hfr_uncertainty : Quantity (pix)
        Standard uncertainty of Hfr (random part), pixels.
    hfr_recorded : Quantity (pix)
        Half-flux radius of the recorded pixels taken as uniform squares, pixels.
    fwhm : Quantity (pix)
        Full width at half maximum of the fitted Moffat profile (geometric mean of the
        axes), pixels, the pixels' blur taken out; NaN without a fit.
    fwhm_uncertainty : Quantity (pix)
        Standard uncertainty of Fwhm, pixels.
    profile_fwhm : Quantity (pix)
        Full width at half maximum of the star's own profile, whatever its form (geometric
        mean of the axes), pixels, the pixels' blur taken out; of a disc or ring out of
        focus its diameter. NaN where no profile was fitted.
    profile_fwhm_uncertainty : Quantity (pix)
        Standard uncertainty of ProfileFwhm, pixels.
    moffat_beta : ndarray
        Exponent beta of the Moffat profile.
    ellipticity : ndarray
        1 - b/a of the adaptive moments, pixels' blur and noise bias taken out.
    ellipticity_uncertainty : ndarray
        Standard uncertainty of each ellipticity component.
    position_angle : Quantity (deg)
        Direction of the long axis, degrees from +x towards +y, -90 to 90.
    radial_ellipticity : ndarray
        Part of the ellipticity along the line to the optical axis: positive radial,
        negative tangential.
    cross_ellipticity : ndarray
        Part at 45 degrees to that line, positive counterclockwise.
    sigma_major : Quantity (pix)
        Standard deviation of the Gaussian ellipse's long axis, pixels, pixels' blur taken
        out.
    sigma_minor : Quantity (pix)
        Standard deviation of the Gaussian ellipse's short axis, pixels, pixels' blur
        taken out.
    axis_distance : Quantity (pix)
        Distance from the optical axis, pixels.
    flags : ndarray
        Sum of StarMarks.
    zones : tuple of ZoneSummary
        Summary by part of the field.
    median_hfr : Measured
        Median half-flux radius of the clean stars.
    median_fwhm : Measured
        Median FWHM of the clean stars, of the fitted Moffat profiles.
    median_profile_fwhm : Measured
        Median FWHM of the clean stars, of their own profiles.
    typical_ellipticity : Measured
        Root mean square ellipticity of the clean stars, noise taken out.
    clean_stars : int
        Number of clean stars behind the medians.
    outer_radius : Quantity (pix)
        Radius of the circle that counts as the whole star, pixels.
    snr_radius : Quantity (pix)
        Radius of the circle of the signal-to-noise ratio, pixels.
    saturation : Quantity (adu)
        Level from which on pixels count as clipped, ADU; NaN when not known.
    median_sky : Quantity (adu)
        Median sky level, ADU.
    median_sky_noise : Quantity (adu)
        Median noise of a sky pixel, ADU.
    noise_correlation : float
        Noise of the smoothed sky over that of independent pixels.
    width : int
        Columns of the frame.
    height : int
        Rows of the frame.
    axis : Quantity (pix)
        Column and row of the optical axis used.
    pixel_scale : Quantity (arcsec / pix)
        Side of a pixel on the sky; NaN when not known.
    scale_from_sky : bool
        True when the sky itself gave the scale, false when it comes from nominal pitch
        and focal length.
    filter_wavelength : Quantity (nm)
        Central wavelength of the filter, nm; NaN when not known.
    notes : tuple of Note
        What the reader must know.
    quantities : tuple of Quantity
        Numbers that a claim can be about; none when too few stars are clean.
    """

    x: u.Quantity
    y: u.Quantity
    x_uncertainty: u.Quantity
    y_uncertainty: u.Quantity
    flux: u.Quantity
    flux_uncertainty: u.Quantity
    peak: u.Quantity
    sky: u.Quantity
    sky_noise: u.Quantity
    snr: np.ndarray
    hfr: u.Quantity
    hfr_uncertainty: u.Quantity
    hfr_recorded: u.Quantity
    fwhm: u.Quantity
    fwhm_uncertainty: u.Quantity
    profile_fwhm: u.Quantity
    profile_fwhm_uncertainty: u.Quantity
    moffat_beta: np.ndarray
    ellipticity: np.ndarray
    ellipticity_uncertainty: np.ndarray
    position_angle: u.Quantity
    radial_ellipticity: np.ndarray
    cross_ellipticity: np.ndarray
    sigma_major: u.Quantity
    sigma_minor: u.Quantity
    axis_distance: u.Quantity
    flags: np.ndarray
    zones: tuple[ZoneSummary, ...]
    median_hfr: Measured
    median_fwhm: Measured
    median_profile_fwhm: Measured
    typical_ellipticity: Measured
    clean_stars: int
    outer_radius: u.Quantity
    snr_radius: u.Quantity
    saturation: u.Quantity
    median_sky: u.Quantity
    median_sky_noise: u.Quantity
    noise_correlation: float
    width: int
    height: int
    axis: u.Quantity
    pixel_scale: u.Quantity
    scale_from_sky: bool
    filter_wavelength: u.Quantity
    notes: tuple[Note, ...]
    quantities: tuple[Quantity, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'x': ('x', 'array 1 f8', 'pix', None), 'y': ('y', 'array 1 f8', 'pix', None),
        'x_uncertainty': ('x_uncertainty', 'array 1 f8', 'pix', None),
        'y_uncertainty': ('y_uncertainty', 'array 1 f8', 'pix', None),
        'flux': ('flux', 'array 1 f8', 'adu', None),
        'flux_uncertainty': ('flux_uncertainty', 'array 1 f8', 'adu', None),
        'peak': ('peak', 'array 1 f8', 'adu', None), 'sky': ('sky', 'array 1 f8', 'adu', None),
        'sky_noise': ('sky_noise', 'array 1 f8', 'adu', None),
        'snr': ('snr', 'array 1 f8', '', None), 'hfr': ('hfr', 'array 1 f8', 'pix', None),
        'hfr_uncertainty': ('hfr_uncertainty', 'array 1 f8', 'pix', None),
        'hfr_recorded': ('hfr_recorded', 'array 1 f8', 'pix', None),
        'fwhm': ('fwhm', 'array 1 f8', 'pix', None),
        'fwhm_uncertainty': ('fwhm_uncertainty', 'array 1 f8', 'pix', None),
        'profile_fwhm': ('profile_fwhm', 'array 1 f8', 'pix', None),
        'profile_fwhm_uncertainty': ('profile_fwhm_uncertainty', 'array 1 f8', 'pix', None),
        'moffat_beta': ('moffat_beta', 'array 1 f8', '', None),
        'ellipticity': ('ellipticity', 'array 1 f8', '', None),
        'ellipticity_uncertainty': ('ellipticity_uncertainty', 'array 1 f8', '', None),
        'position_angle': ('position_angle_deg', 'array 1 f8', 'deg', None),
        'radial_ellipticity': ('radial_ellipticity', 'array 1 f8', '', None),
        'cross_ellipticity': ('cross_ellipticity', 'array 1 f8', '', None),
        'sigma_major': ('sigma_major', 'array 1 f8', 'pix', None),
        'sigma_minor': ('sigma_minor', 'array 1 f8', 'pix', None),
        'axis_distance': ('axis_distance_px', 'array 1 f8', 'pix', None),
        'flags': ('flags', 'array 1 i4', '', None), 'zones': ('zones', 'records', '', ZoneSummary),
        'median_hfr': ('median_hfr', 'measured', '', None),
        'median_fwhm': ('median_fwhm', 'measured', '', None),
        'median_profile_fwhm': ('median_profile_fwhm', 'measured', '', None),
        'typical_ellipticity': ('typical_ellipticity', 'measured', '', None),
        'clean_stars': ('clean_stars', 'integer', '', None),
        'outer_radius': ('outer_radius_px', 'number', 'pix', None),
        'snr_radius': ('snr_radius_px', 'number', 'pix', None),
        'saturation': ('saturation_adu', 'number', 'adu', None),
        'median_sky': ('median_sky', 'number', 'adu', None),
        'median_sky_noise': ('median_sky_noise', 'number', 'adu', None),
        'noise_correlation': ('noise_correlation', 'number', '', None),
        'width': ('width', 'integer', '', None), 'height': ('height', 'integer', '', None),
        'axis': ('axis', 'array 1 f8', 'pix', None),
        'pixel_scale': ('pixel_scale_arcsec_per_px', 'number', 'arcsec / pix', None),
        'scale_from_sky': ('scale_from_sky', 'flag', '', None),
        'filter_wavelength': ('filter_wavelength_nm', 'number', 'nm', None),
        'notes': ('notes', 'notes', '', None),
        'quantities': ('quantities', 'records', '', Quantity),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class UncertaintyBudget(Record):
    """A result with all of its sources of uncertainty.

    Attributes
    ----------
    result : Measured
        Value and combined standard uncertainty (k = 1).
    degrees_of_freedom : float
        Effective degrees of freedom.
    coverage_probability : float
        As asked.
    coverage_factor : float
        k of the expanded uncertainty, from Student's t.
    expanded_uncertainty : float
        k times the combined standard uncertainty.
    random_part : float
        Combined standard uncertainty of what averages out.
    systematic_part : float
        Combined standard uncertainty of what does not.
    parts : tuple of BudgetPart
        Every entry's part, largest first.
    """

    result: Measured
    degrees_of_freedom: float
    coverage_probability: float
    coverage_factor: float
    expanded_uncertainty: float
    random_part: float
    systematic_part: float
    parts: tuple[BudgetPart, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'result': ('result', 'measured', '', None),
        'degrees_of_freedom': ('degrees_of_freedom', 'number', '', None),
        'coverage_probability': ('coverage_probability', 'number', '', None),
        'coverage_factor': ('coverage_factor', 'number', '', None),
        'expanded_uncertainty': ('expanded_uncertainty', 'number', '', None),
        'random_part': ('random_part', 'number', '', None),
        'systematic_part': ('systematic_part', 'number', '', None),
        'parts': ('parts', 'records', '', BudgetPart),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WavefrontBudgetLine(Record):
    """One line of the wavefront's uncertainty budget.

    NaN: not in the numbers.

    Attributes
    ----------
    map : Quantity (nm)
        RMS that it puts on the map, nm.
    rms : Quantity (nm)
        Its share in the uncertainty of the RMS, nm.
    strehl : float
        Its share in the uncertainty of the Strehl ratio.
    source : str
        See the engine.
    kind : str
        See the engine.
    input : str
        See the engine.
    averages : bool
        See the engine.
    """

    map: u.Quantity
    rms: u.Quantity
    strehl: float
    source: str
    kind: str
    input: str
    averages: bool

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'map': ('map_nm', 'number', 'nm', None), 'rms': ('rms_nm', 'number', 'nm', None),
        'strehl': ('strehl', 'number', '', None), 'source': ('source', 'text', '', None),
        'kind': ('kind', 'text', '', None), 'input': ('input', 'text', '', None),
        'averages': ('averages', 'flag', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WavefrontCourse(Record):
    """How the wavefront changed from pair to pair through a night.

    Attributes
    ----------
    time : Quantity (h)
        Middle of each pair, from the first.
    families : tuple of FamilyCourse
        Astigmatism, coma, spherical aberration, trefoil.
    changing : bool
        Whether one of them changes steadily.
    focus_drift : Measured
        Change of best focus, where the focuser's places are known; NaN elsewhere.
    focus : Quantity (um)
        Best focus of each pair by focuser and images; NaN where not known.
    focus_moves : bool
        Whether best focus moves.
    scatter : Quantity (nm)
        Scatter of astigmatism and coma from pair to pair about their steady change, root
        mean square of one component.
    expected_scatter : Quantity (nm)
        What photons, misfit and the air of these exposures make of it, the air moving at
        a third of the usual speed.
    scatter_probability : float
        Probability of so much scatter by these alone.
    unsteady : bool
        Whether there is more than these make: air in or before the tube, or what touches
        the optics.
    late_over_early : float
        Scatter of the second half of the pairs over that of the first; NaN from fewer
        than six pairs.
    settling : bool
        Whether the scatter falls through the night.
    """

    time: u.Quantity
    families: tuple[FamilyCourse, ...]
    changing: bool
    focus_drift: Measured
    focus: u.Quantity
    focus_moves: bool
    scatter: u.Quantity
    expected_scatter: u.Quantity
    scatter_probability: float
    unsteady: bool
    late_over_early: float
    settling: bool

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'time': ('time', 'array 1 f8', 'h', None),
        'families': ('families', 'records', '', FamilyCourse),
        'changing': ('changing', 'flag', '', None),
        'focus_drift': ('focus_drift', 'measured', '', None),
        'focus': ('focus_um', 'array 1 f8', 'um', None),
        'focus_moves': ('focus_moves', 'flag', '', None),
        'scatter': ('scatter_nm', 'number', 'nm', None),
        'expected_scatter': ('expected_scatter_nm', 'number', 'nm', None),
        'scatter_probability': ('scatter_probability', 'number', '', None),
        'unsteady': ('unsteady', 'flag', '', None),
        'late_over_early': ('late_over_early', 'number', '', None),
        'settling': ('settling', 'flag', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WavefrontFieldResult(Record):
    """The low modes of the wavefront over the sensor.

    Attributes
    ----------
    tilt_across_width : Measured
        By how much the best focus lies farther from the objective at the right edge than
        at the left, by its slope in the middle.
    tilt_across_height : Measured
        The same at the upper edge against the lower.
    sensor_tilt : Measured
        Largest difference of both from corner to corner.
    tilt_angle : Measured
        Angle between sensor and best plane.
    tilt_direction : Quantity (deg)
        Side of the sensor that has to come away from the objective: from +x towards +y.
    curvature_sag : Measured
        Best focus of the corners less that of the middle, tilt taken off; negative: the
        surface bends towards the objective.
    curvature_radius : Measured
        Radius of the surface: r^2 / (2 sag), negative towards the objective; its
        uncertainty is NaN where a flat surface is within two standard uncertainties.
    coma_constant : Measured
        Coma in the middle of the sensor, noise taken off.
    coma_constant_x : Measured
        Noll 8 in the middle.
    coma_constant_y : Measured
        Noll 7 in the middle.
    coma_linear : Measured
        Coma that grows with the distance from the axis, at the corner; positive where its
        Noll 8 grows to the right.
    coma_free : ComaFreePoint
        Where the coma-free axis meets the sensor, by the coma of these stars alone; its
        uncertainty holds what moving air leaves in all of them alike.
    coma_free_by_theory : ComaFreePoint
        The same with the growth of a single paraboloid's coma; null where the objective
        is not said to be one.
    coma_node_x : Measured
        Place without coma by these stars alone, from the sensor's middle; NaN where it is
        not told.
    coma_node_y : Measured
        The same upwards.
    astigmatism_constant : Measured
        Astigmatism in the middle of the sensor, noise taken off.
    astigmatism_constant_x : Measured
        Noll 6 in the middle.
    astigmatism_constant_y : Measured
        Noll 5 in the middle.
    astigmatism_linear : Measured
        Astigmatism that grows with the field, at the corner, noise taken off.
    astigmatism_linear_x : Measured
        Its part along Noll 6 for a corner to the right.
    astigmatism_linear_y : Measured
        Its part along Noll 5 for a corner to the right.
    astigmatism_quadratic : Measured
        Astigmatism that grows with the squared field, at the corner; positive where Noll
        6 grows to the right.
    astigmatic_split : Measured
        Tangential less sagittal focus at the corner by the quadratic part.
    node_x : Quantity (mm)
        Places without astigmatism, from the sensor's middle, column; empty where the
        quadratic part does not tell them.
    node_y : Quantity (mm)
        The same, row.
    node_uncertainty : Quantity (mm)
        Standard uncertainty of each node along either axis.
    spherical : Measured
        Spherical aberration, the same all over the field; positive is undercorrection.
    trefoil : Measured
        Trefoil, the same all over the field, noise taken off.
    trefoil_x : Measured
        Noll 10.
    trefoil_y : Measured
        Noll 9.
    rms_middle : Measured
        Wavefront error of these modes in the middle of the sensor, focused there.
    rms_sensor : Measured
        The same with the sensor where the whole of it is best, focus included, mean
        square over the sensor.
    rms_sensor_level : Quantity (nm)
        The same with the camera leveled.
    best_x : Quantity (pix)
        Column of the place that is best when the sensor stands best for the whole of it.
    best_y : Quantity (pix)
        Row of that place.
    inside_distance : Measured
        Sensor from best focus in the middle, first frame, negative inside.
    outside_distance : Measured
        The same, second frame.
    travel_tilt : Measured
        By how much the way of the focuser between the frames differs from one corner to
        the opposite one: flexure.
    seeing : Quantity (arcsec)
        Seeing of each frame, FWHM of the Kolmogorov long exposure.
    depth_of_focus : Quantity (um)
        Depth of focus to either side, 2 wavelength N^2: a quarter wave of defocus.
    scatter_focus : Quantity (um)
        Scatter of single stars about the laws beside their photons: focus.
    scatter : Quantity (nm)
        The same for coma, astigmatism, spherical aberration, trefoil.
    chi_squared : float
        Median chi squared per degree of freedom of the stars.
    x : Quantity (pix)
        Column of each star, mean of both frames.
    y : Quantity (pix)
        Row of each star.
    star_focus : Quantity (um)
        Best focus at each star, a sensor position from that in the middle of the sensor.
    star_focus_uncertainty : Quantity (um)
        Its standard uncertainty, scatter included.
    coefficient : Quantity (nm), 2 axes
        Modes of each star, Noll 5 to 11.
    coefficient_uncertainty : Quantity (nm), 2 axes
        Their standard uncertainties by photons alone.
    star_chi_squared : ndarray
        Chi squared per degree of freedom of each star.
    finer : Quantity (nm)
        Modes from Noll 12 on that were taken as the same for all stars.
    focus_terms : Quantity (um)
        Focus: z = c1 u + c2 v + c3 (u^2 + v^2), u and v from the middle over half the
        diagonal.
    coma_terms : Quantity (nm)
        Coma: Noll 8 + i Noll 7 = c0 + i c1 + c2 (u + iv).
    astigmatism_terms : Quantity (nm)
        Astigmatism: Noll 6 + i Noll 5 = b0 + i b1 + (b2 + i b3) (u + iv) + b4 (u + iv)^2.
    width : int
        Columns of the frames.
    height : int
        Rows of the frames.
    pitch : Quantity (um)
        Pixel pitch.
    focal_ratio : float
        Focal ratio.
    wavelength : Quantity (nm)
        Wavelength.
    decided : bool
        False when notes of doubt forbid using the numbers to decide.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    notes : tuple of Note
        What the reader must know.
    """

    tilt_across_width: Measured
    tilt_across_height: Measured
    sensor_tilt: Measured
    tilt_angle: Measured
    tilt_direction: u.Quantity
    curvature_sag: Measured
    curvature_radius: Measured
    coma_constant: Measured
    coma_constant_x: Measured
    coma_constant_y: Measured
    coma_linear: Measured
    coma_free: ComaFreePoint
    coma_free_by_theory: ComaFreePoint
    coma_node_x: Measured
    coma_node_y: Measured
    astigmatism_constant: Measured
    astigmatism_constant_x: Measured
    astigmatism_constant_y: Measured
    astigmatism_linear: Measured
    astigmatism_linear_x: Measured
    astigmatism_linear_y: Measured
    astigmatism_quadratic: Measured
    astigmatic_split: Measured
    node_x: u.Quantity
    node_y: u.Quantity
    node_uncertainty: u.Quantity
    spherical: Measured
    trefoil: Measured
    trefoil_x: Measured
    trefoil_y: Measured
    rms_middle: Measured
    rms_sensor: Measured
    rms_sensor_level: u.Quantity
    best_x: u.Quantity
    best_y: u.Quantity
    inside_distance: Measured
    outside_distance: Measured
    travel_tilt: Measured
    seeing: u.Quantity
    depth_of_focus: u.Quantity
    scatter_focus: u.Quantity
    scatter: u.Quantity
    chi_squared: float
    x: u.Quantity
    y: u.Quantity
    star_focus: u.Quantity
    star_focus_uncertainty: u.Quantity
    coefficient: u.Quantity
    coefficient_uncertainty: u.Quantity
    star_chi_squared: np.ndarray
    finer: u.Quantity
    focus_terms: u.Quantity
    coma_terms: u.Quantity
    astigmatism_terms: u.Quantity
    width: int
    height: int
    pitch: u.Quantity
    focal_ratio: float
    wavelength: u.Quantity
    decided: bool
    quantities: tuple[Quantity, ...]
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'tilt_across_width': ('tilt_across_width', 'measured', '', None),
        'tilt_across_height': ('tilt_across_height', 'measured', '', None),
        'sensor_tilt': ('sensor_tilt', 'measured', '', None),
        'tilt_angle': ('tilt_angle', 'measured', '', None),
        'tilt_direction': ('tilt_direction_deg', 'number', 'deg', None),
        'curvature_sag': ('curvature_sag', 'measured', '', None),
        'curvature_radius': ('curvature_radius', 'measured', '', None),
        'coma_constant': ('coma_constant', 'measured', '', None),
        'coma_constant_x': ('coma_constant_x', 'measured', '', None),
        'coma_constant_y': ('coma_constant_y', 'measured', '', None),
        'coma_linear': ('coma_linear', 'measured', '', None),
        'coma_free': ('coma_free', 'record', '', ComaFreePoint),
        'coma_free_by_theory': ('coma_free_by_theory', 'record', '', ComaFreePoint),
        'coma_node_x': ('coma_node_x', 'measured', '', None),
        'coma_node_y': ('coma_node_y', 'measured', '', None),
        'astigmatism_constant': ('astigmatism_constant', 'measured', '', None),
        'astigmatism_constant_x': ('astigmatism_constant_x', 'measured', '', None),
        'astigmatism_constant_y': ('astigmatism_constant_y', 'measured', '', None),
        'astigmatism_linear': ('astigmatism_linear', 'measured', '', None),
        'astigmatism_linear_x': ('astigmatism_linear_x', 'measured', '', None),
        'astigmatism_linear_y': ('astigmatism_linear_y', 'measured', '', None),
        'astigmatism_quadratic': ('astigmatism_quadratic', 'measured', '', None),
        'astigmatic_split': ('astigmatic_split', 'measured', '', None),
        'node_x': ('node_x', 'array 1 f8', 'mm', None),
        'node_y': ('node_y', 'array 1 f8', 'mm', None),
        'node_uncertainty': ('node_uncertainty_mm', 'array 1 f8', 'mm', None),
        'spherical': ('spherical', 'measured', '', None),
        'trefoil': ('trefoil', 'measured', '', None),
        'trefoil_x': ('trefoil_x', 'measured', '', None),
        'trefoil_y': ('trefoil_y', 'measured', '', None),
        'rms_middle': ('rms_middle', 'measured', '', None),
        'rms_sensor': ('rms_sensor', 'measured', '', None),
        'rms_sensor_level': ('rms_sensor_level_nm', 'number', 'nm', None),
        'best_x': ('best_x', 'number', 'pix', None), 'best_y': ('best_y', 'number', 'pix', None),
        'inside_distance': ('inside_distance', 'measured', '', None),
        'outside_distance': ('outside_distance', 'measured', '', None),
        'travel_tilt': ('travel_tilt', 'measured', '', None),
        'seeing': ('seeing_arcsec', 'array 1 f8', 'arcsec', None),
        'depth_of_focus': ('depth_of_focus_um', 'number', 'um', None),
        'scatter_focus': ('scatter_focus_um', 'number', 'um', None),
        'scatter': ('scatter', 'array 1 f8', 'nm', None),
        'chi_squared': ('chi_squared', 'number', '', None), 'x': ('x', 'array 1 f8', 'pix', None),
        'y': ('y', 'array 1 f8', 'pix', None),
        'star_focus': ('star_focus_um', 'array 1 f8', 'um', None),
        'star_focus_uncertainty': ('star_focus_uncertainty_um', 'array 1 f8', 'um', None),
        'coefficient': ('coefficient_nm', 'array 2 f8', 'nm', None),
        'coefficient_uncertainty': ('coefficient_uncertainty_nm', 'array 2 f8', 'nm', None),
        'star_chi_squared': ('star_chi_squared', 'array 1 f8', '', None),
        'finer': ('finer_nm', 'array 1 f8', 'nm', None),
        'focus_terms': ('focus_terms', 'array 1 f8', 'um', None),
        'coma_terms': ('coma_terms', 'array 1 f8', 'nm', None),
        'astigmatism_terms': ('astigmatism_terms', 'array 1 f8', 'nm', None),
        'width': ('width', 'integer', '', None), 'height': ('height', 'integer', '', None),
        'pitch': ('pitch_um', 'number', 'um', None),
        'focal_ratio': ('focal_ratio', 'number', '', None),
        'wavelength': ('wavelength_nm', 'number', 'nm', None),
        'decided': ('decided', 'flag', '', None),
        'quantities': ('quantities', 'records', '', Quantity),
        'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WavefrontFit(Record):
    """The wavefront of a telescope from pairs of defocused images.

    Arrays over modes share one order: Noll 5 upwards to 45, then rings (radial orders from
    10 on without angle), then the other modes from Noll 46 on; what follows Noll 45 is
    orthonormal over the open ring instead of the full circle.

    Attributes
    ----------
    noll : ndarray
        Noll index of each mode.
    osa : ndarray
        OSA/ANSI index of each mode.
    mode : tuple of str
        Name of each mode in the trade.
    coefficient : Quantity (nm)
        Coefficient of each circle polynomial, nm RMS over the full disc, positive where
        the wave is ahead.
    uncertainty : Quantity (nm)
        Standard uncertainty of each coefficient with every part of the budget, nm.
    fit_uncertainty : Quantity (nm)
        The part of it that comes from photons, read noise and misfit, nm.
    photon_uncertainty : Quantity (nm)
        The part of it that photons and read noise alone make, nm: what noise adds to sums
        of squares.
    random_uncertainty : Quantity (nm)
        The part of it that averages out over more pairs, nm: the fit's, turbulence left
        in a finite exposure, and the pairs' scatter where that is larger.
    covariance : Quantity (nm2), 2 axes
        Covariance of the coefficients with every part of the budget, nm^2.
    words : tuple of str
        What each mode means at the telescope.
    rms : Measured
        RMS wavefront error over the open pupil at best focus, noise taken out, nm.
    pv : Measured
        Peak to valley of the noise-filtered map, nm.
    pv_bias : Quantity (nm)
        By how much noise still raises the PV on average, nm.
    strehl : Measured
        Strehl ratio from the pupil integral at `wavelength`.
    strehl_from_rms : float
        exp[-(2 pi RMS/wavelength)^2], for comparison; NaN above 0.1 wave RMS, where it
        misleads.
    map : Quantity (nm), 2 axes
        Wavefront map at best focus, nm; row y, column x, sample k at (2k + 1 - n)/n; NaN
        outside the open pupil.
    map_open : ndarray, 2 axes
        Open share of each sample of the map.
    map_uncertainty : Quantity (nm), 2 axes
        Standard uncertainty of the map, nm.
    wavelength : Quantity (nm)
        Mean wavelength, nm.
    focal_ratio : float
        Focal ratio.
    seeing : tuple of Measured
        Seeing of each image, FWHM of the Kolmogorov long exposure, arcsec.
    images : tuple of FittedImage
        Every image with its model.
    chi_squared : float
        Chi squared per degree of freedom.
    points : int
        Pixels that counted.
    iterations : int
        Steps of the solver.
    map_error : Quantity (nm)
        RMS that the fit's own covariance predicts for the map's error from photons, read
        noise and misfit, nm.
    second_opinion : SecondOpinionResult
        The second opinion; null when it could not be made.
    pairs_alone : tuple of PairAlone
        Each pair fitted alone, when there are several.
    course : WavefrontCourse
        What changed from pair to pair; null where there are fewer than three, within less
        than a quarter of an hour, or of unknown times.
    budget : tuple of WavefrontBudgetLine
        Where the uncertainty comes from.
    widened : bool
        True when the pairs scattered more than the budget says and widened the bars.
    decided : bool
        False when notes of doubt forbid using the numbers to decide.
    notes : tuple of Note
        What the reader must know.
    families : tuple of AberrationFamily
        Modes by kind of aberration, largest first.
    annular_families : tuple of AberrationFamily
        The same in polynomials that are orthonormal over the ring which the obstruction
        leaves (Mahajan 1981): RMS over the light that passes. Empty without an
        obstruction, where both are the same.
    annular_random_uncertainty : Quantity (nm)
        What of the uncertainty of each annular family averages out over more pairs, nm,
        in their order.
    quantities : tuple of Quantity
        Numbers that a claim can be about.
    """

    noll: np.ndarray
    osa: np.ndarray
    mode: tuple[str, ...]
    coefficient: u.Quantity
    uncertainty: u.Quantity
    fit_uncertainty: u.Quantity
    photon_uncertainty: u.Quantity
    random_uncertainty: u.Quantity
    covariance: u.Quantity
    words: tuple[str, ...]
    rms: Measured
    pv: Measured
    pv_bias: u.Quantity
    strehl: Measured
    strehl_from_rms: float
    map: u.Quantity
    map_open: np.ndarray
    map_uncertainty: u.Quantity
    wavelength: u.Quantity
    focal_ratio: float
    seeing: tuple[Measured, ...]
    images: tuple[FittedImage, ...]
    chi_squared: float
    points: int
    iterations: int
    map_error: u.Quantity
    second_opinion: SecondOpinionResult | None
    pairs_alone: tuple[PairAlone, ...]
    course: WavefrontCourse | None
    budget: tuple[WavefrontBudgetLine, ...]
    widened: bool
    decided: bool
    notes: tuple[Note, ...]
    families: tuple[AberrationFamily, ...]
    annular_families: tuple[AberrationFamily, ...]
    annular_random_uncertainty: u.Quantity
    quantities: tuple[Quantity, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'noll': ('noll', 'array 1 i4', '', None), 'osa': ('osa', 'array 1 i4', '', None),
        'mode': ('mode', 'texts', '', None),
        'coefficient': ('coefficient_nm', 'array 1 f8', 'nm', None),
        'uncertainty': ('uncertainty_nm', 'array 1 f8', 'nm', None),
        'fit_uncertainty': ('fit_uncertainty_nm', 'array 1 f8', 'nm', None),
        'photon_uncertainty': ('photon_uncertainty_nm', 'array 1 f8', 'nm', None),
        'random_uncertainty': ('random_uncertainty_nm', 'array 1 f8', 'nm', None),
        'covariance': ('covariance_nm2', 'array 2 f8', 'nm2', None),
        'words': ('words', 'texts', '', None), 'rms': ('rms', 'measured', '', None),
        'pv': ('pv', 'measured', '', None), 'pv_bias': ('pv_bias_nm', 'number', 'nm', None),
        'strehl': ('strehl', 'measured', '', None),
        'strehl_from_rms': ('strehl_from_rms', 'number', '', None),
        'map': ('map_nm', 'array 2 f8', 'nm', None),
        'map_open': ('map_open', 'array 2 f8', '', None),
        'map_uncertainty': ('map_uncertainty_nm', 'array 2 f8', 'nm', None),
        'wavelength': ('wavelength_nm', 'number', 'nm', None),
        'focal_ratio': ('focal_ratio', 'number', '', None),
        'seeing': ('seeing', 'measured list', '', None),
        'images': ('images', 'records', '', FittedImage),
        'chi_squared': ('chi_squared', 'number', '', None),
        'points': ('points', 'integer', '', None),
        'iterations': ('iterations', 'integer', '', None),
        'map_error': ('map_error_nm', 'number', 'nm', None),
        'second_opinion': ('second_opinion', 'record', '', SecondOpinionResult),
        'pairs_alone': ('pairs_alone', 'records', '', PairAlone),
        'course': ('course', 'record', '', WavefrontCourse),
        'budget': ('budget', 'records', '', WavefrontBudgetLine),
        'widened': ('widened', 'flag', '', None), 'decided': ('decided', 'flag', '', None),
        'notes': ('notes', 'notes', '', None),
        'families': ('families', 'records', '', AberrationFamily),
        'annular_families': ('annular_families', 'records', '', AberrationFamily),
        'annular_random_uncertainty': ('annular_random_uncertainty_nm', 'array 1 f8', 'nm', None),
        'quantities': ('quantities', 'records', '', Quantity),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WavelengthSolution(Record):
    """Wavelength of every column.

    Attributes
    ----------
    wavelength : Quantity (nm)
        Wavelength at each column, nm in air.
    line_column : ndarray
        Columns of the lines used.
    line_wavelength : Quantity (nm)
        Their wavelengths, nm in air; of a blend the mean, weighted by the strengths
        found.
    uncertainty : Quantity (nm)
        Standard uncertainty of the wavelength of each column, nm: from the lines' own and
        from a degree more than the evidence asks for.
    modes : Quantity (nm), 2 axes
        Independent ways in which the scale may be off, modes x columns nm for one
        standard deviation.
    residual : Quantity (nm)
        Measured minus published, nm.
    unmatched_column : ndarray
        Columns of the peaks that matched no line.
    rms : Quantity (nm)
        RMS residual, nm, corrected for the unknowns.
    rms_columns : Quantity (pix)
        The same in columns.
    coefficients : ndarray
        Polynomial, lowest power first, of the column scaled to -1 ... 1 over the frame.
    log_false_alarm : float
        log10 of the chance that as many lines match by accident.
    medium : str
        Always "air".
    notes : tuple of Note
        What must be known.
    """

    wavelength: u.Quantity
    line_column: np.ndarray
    line_wavelength: u.Quantity
    uncertainty: u.Quantity
    modes: u.Quantity
    residual: u.Quantity
    unmatched_column: np.ndarray
    rms: u.Quantity
    rms_columns: u.Quantity
    coefficients: np.ndarray
    log_false_alarm: float
    medium: str
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'wavelength': ('wavelength_nm', 'array 1 f8', 'nm', None),
        'line_column': ('line_column', 'array 1 f8', '', None),
        'line_wavelength': ('line_wavelength_nm', 'array 1 f8', 'nm', None),
        'uncertainty': ('uncertainty_nm', 'array 1 f8', 'nm', None),
        'modes': ('modes_nm', 'array 2 f8', 'nm', None),
        'residual': ('residual_nm', 'array 1 f8', 'nm', None),
        'unmatched_column': ('unmatched_column', 'array 1 f8', '', None),
        'rms': ('rms_nm', 'number', 'nm', None),
        'rms_columns': ('rms_columns', 'number', 'pix', None),
        'coefficients': ('coefficients', 'array 1 f8', '', None),
        'log_false_alarm': ('log_false_alarm', 'number', '', None),
        'medium': ('medium', 'text', '', None), 'notes': ('notes', 'notes', '', None),
    }


@dataclasses.dataclass(frozen=True, eq=False, kw_only=True, repr=False)
class WeightedMean(Record):
    """One value for several measurements.

    Attributes
    ----------
    result : Measured
        Mean weighted by 1/u^2, with the common part in its uncertainty.
    random_part : float
        Standard uncertainty without the common part.
    systematic_part : float
        The common part.
    birge_ratio : float
        Scatter over what the uncertainties promise; 1 when they are true, NaN for one
        value.
    degrees_of_freedom : float
        Infinite while the stated uncertainties stand; n - 1 when the scatter overrules
        them.
    count : int
        How many measurements went in.
    notes : tuple of Note
        decision.scatter when the values scatter more than chance allows.
    """

    result: Measured
    random_part: float
    systematic_part: float
    birge_ratio: float
    degrees_of_freedom: float
    count: int
    notes: tuple[Note, ...]

    _FIELDS: ClassVar[dict[str, tuple[str, str, str, Any]]] = {
        'result': ('result', 'measured', '', None),
        'random_part': ('random_part', 'number', '', None),
        'systematic_part': ('systematic_part', 'number', '', None),
        'birge_ratio': ('birge_ratio', 'number', '', None),
        'degrees_of_freedom': ('degrees_of_freedom', 'number', '', None),
        'count': ('count', 'integer', '', None), 'notes': ('notes', 'notes', '', None),
    }


#: Every kind of note: code -> (level, meaning).
NOTES: dict[str, tuple[str, str]] = {
    'advice.blur-mismatch': ('caution', 'Diffraction, optics, seeing and pixels together explain more blur than the stars show, so the parts are only rough.'),
    'alignment.air': ('info', 'The exposure is not known; the bars hold what turbulence leaves in a short one.'),
    'alignment.clipped': ('caution', 'Saturated pixels of the disc were left out.'),
    'alignment.faint': ('caution', 'The star is faint: its signal-to-noise ratio is below 150.'),
    'alignment.hole': ('doubt', 'The disc is dark in the middle though no obstruction was declared.'),
    'alignment.image-only': ('info', 'Directions are told in the image alone, since it is not known how the camera lies.'),
    'alignment.large': ('caution', 'The decentre is so large that circles are a rough description.'),
    'alignment.method': ('info', 'What the decentre and its uncertainty rest on.'),
    'alignment.misfit': ('caution', 'The model misses the image by more than the noise; the bars have been widened for it.'),
    'alignment.misfit-large': ('doubt', 'The model is far from the image: something is not as declared.'),
    'alignment.neighbor': ('caution', 'A second star overlaps the disc; its light was taken out.'),
    'alignment.obstruction': ('caution', 'The shadow is not as large as the declared obstruction.'),
    'alignment.one-image': ('info', 'One image tells coma from an obstruction out of the middle by brightness alone.'),
    'alignment.one-place': ('doubt', 'The headers put the focuser at one place for both images.'),
    'alignment.other-light': ('doubt', 'Light beside the disc does not belong to the star.'),
    'alignment.rings-differ': ('doubt', 'Edges and rings traced one by one do not lie where the fit has them.'),
    'alignment.saturated-ring': ('doubt', 'So much of a ring is saturated that its place must not decide.'),
    'alignment.short-exposure': ('caution', 'The exposure is too short to average the seeing, which moves rings as coma does.'),
    'alignment.small-disc': ('caution', 'The disc has few pixels or few waves of defocus.'),
    'alignment.star-cut': ('doubt', 'Part of the disc lies outside the frame.'),
    'alignment.turning': ('info', 'What to know before screws are turned.'),
    'alignment.unobstructed': ('info', 'Without an obstruction the rings show coma alone.'),
    'calibration.dark-scaled': ('info', 'The dark frame was scaled to the exposure of the image.'),
    'calibration.few-frames': ('caution', 'Too few frames were combined to tell a cosmic ray from the signal.'),
    'calibration.flat-dark': ('caution', 'The flat field is too dark in some pixels to divide by; they are masked.'),
    'calibration.gain-uneven': ('caution', 'The gain differs over the frame more than its noise allows; the two flats may not show the same light.'),
    'calibration.many-cosmic-rays': ('caution', 'More than a hundredth of the pixels were taken for cosmic rays; sharp stars may be among them.'),
    'calibration.many-rejected': ('caution', 'More than a twentieth of the values were rejected while combining; the frames may not belong together.'),
    'color-focus.band-not-covered': ('caution', 'The curve does not cover the band for which figures of merit were asked.'),
    'color-focus.beyond-window': ('caution', 'Some colors are blurred over more rows than the window holds and were left out.'),
    'color-focus.cosmic-rays': ('info', 'Cosmic rays and hot pixels on the spectrum were left out.'),
    'color-focus.defocus-hint-differs': ('doubt', 'The spectrum is out of focus by another amount than was said.'),
    'color-focus.faint': ('caution', 'Parts of the spectrum are too faint for a width.'),
    'color-focus.flat': ('info', 'The curve is flat within its errors.'),
    'color-focus.focal-ratio-differs': ('caution', 'The blur grows with the focuser as for another focal ratio than the one given.'),
    'color-focus.focus-not-bracketed': ('caution', 'Some colors have their best focus outside the focus run.'),
    'color-focus.gain-estimated': ('info', 'The gain was estimated from the scatter of the spectrum itself.'),
    'color-focus.grating-geometry-removed': ('info', 'The sagittal focus error of the grating in the converging beam was removed.'),
    'color-focus.grating-geometry-unknown': ('doubt', "The grating's own focus error could not be removed."),
    'color-focus.instrument-included': ('caution', "The spectrograph's own focus error with color is part of the curve."),
    'color-focus.lines-masked': ('info', 'Strong stellar and telluric lines were left out.'),
    'color-focus.no-second-order': ('info', "No line of the grating's second order is seen, so nothing was left out for it."),
    'color-focus.no-sharp-color': ('doubt', 'No color is in focus in this single spectrum, so seeing and defocus cannot be told apart.'),
    'color-focus.one-sided-background': ('caution', 'Background could be taken on one side of the spectrum only.'),
    'color-focus.poor-fit': ('caution', 'Profiles differ from the model by more than the noise; errors were enlarged.'),
    'color-focus.reference-removed': ('info', 'The curve of a reference telescope was subtracted.'),
    'color-focus.saturated-columns': ('caution', 'Some columns of the spectrum are clipped and were left out.'),
    'color-focus.saturation-unknown': ('info', 'No saturation level was given; only a repeated highest value is taken for clipping.'),
    'color-focus.second-order': ('caution', 'Beyond a wavelength the second order of the grating overlaps; those columns are left out.'),
    'color-focus.second-order-removed': ('caution', 'The second order, as the first order at half the wavelength predicts it, was taken from the profiles.'),
    'color-focus.second-trace': ('caution', 'A fainter second spectrum lies in the frame.'),
    'color-focus.shifted-along-dispersion': ('info', 'Spectra of the run were shifted along the dispersion and were lined up.'),
    'color-focus.sign-ambiguous': ('doubt', 'One spectrum does not decide the signs of the defocus along the whole of it.'),
    'color-focus.sign-assumed': ('caution', 'One spectrum cannot tell longer from shorter focus; the sign is an assumption.'),
    'color-focus.sign-from-defocus': ('info', 'The side to which the sensor was set out of focus decides the signs.'),
    'color-focus.sign-open-near-focus': ('caution', "Near focus one spectrum leaves the sign open, by less than a tenth of the curve's range."),
    'color-focus.window-cut': ('caution', 'The frame is too low for the whole profile of the spectrum.'),
    'coma-axis.doubtful-star': ('caution', 'Stars whose own alignment is in doubt were left out.'),
    'coma-axis.far-off': ('caution', 'A star whose coma lies far off the law of the others was left out.'),
    'coma-axis.few-stars': ('caution', 'So few stars that the law can hardly be checked.'),
    'coma-axis.left-out': ('info', 'Stars that were not measured.'),
    'coma-axis.method': ('info', 'What the place and its uncertainty rest on.'),
    'coma-axis.not-linear': ('doubt', "The stars' coma does not follow the law of third-order aberrations."),
    'coma-axis.not-paraboloid': ('caution', 'Coma does not grow over the field as that of a single paraboloid.'),
    'coma-axis.not-told': ('info', 'Why no place is told.'),
    'coma-axis.scatter': ('caution', 'The stars scatter about the law by more than their uncertainties; the bars hold it.'),
    'coma-axis.turning': ('info', 'What to know before screws are turned.'),
    'decision.doubtful': ('doubt', 'A doubt stands against the measured number, so nothing was decided from it.'),
    'decision.frames-far-apart': ('doubt', 'The frames of one entry were taken months apart: they need not show one state of the telescope.'),
    'decision.other-conditions': ('doubt', 'The claim holds under other conditions than those of the measurement, so nothing was decided.'),
    'decision.scatter': ('caution', 'Repeated measurements scatter more than their uncertainties promise; the uncertainty was taken from the scatter.'),
    'decision.too-narrow': ('caution', 'The range allowed is narrower than twice the guard band: this measurement can never show that the claim is met.'),
    'edge-contrast.curved': ('doubt', "The edge is so strongly curved that a straight one's MTF does not hold."),
    'edge-contrast.followed': ('info', 'The edge is no circle nor straight line; it was followed piece by piece.'),
    'edge-contrast.ghost': ('caution', 'A patch of light in the dark that the distance from the edge does not explain.'),
    'edge-contrast.glare-beyond': ('info', 'The frame does not show the distance at which glare was asked for.'),
    'edge-contrast.glare-one-sided': ('info', 'Light on one side only: no veiling glare index in the sense of ISO 9358.'),
    'edge-contrast.glare-surround': ('caution', 'The bright field round the black patch is seen only as far as the frame reaches.'),
    'edge-contrast.method': ('info', 'What width, MTF and their uncertainties rest on.'),
    'edge-contrast.no-bias': ('caution', 'The level without light is not known, so glare was not measured.'),
    'edge-contrast.not-corrected': ('info', 'What the result still contains beside the telescope.'),
    'edge-contrast.phase': ('caution', "The Moon's phase angle was not given; how brightness falls from the limb inward was not known."),
    'edge-contrast.rough': ('doubt', 'The edge is rough on a scale finer than it could be followed, which widens it.'),
    'edge-contrast.short': ('caution', 'Little of the edge serves.'),
    'edge-contrast.slant': ('caution', "The edge is nearly parallel to the pixels' rows; few phases of the pixels were seen."),
    'edge-contrast.sun': ('info', 'Cautions for photographing a limb.'),
    'field-sharpness.budget-mismatch': ('caution', 'The known causes make more blur than the stars have.'),
    'field-sharpness.corners-empty': ('caution', 'Stars leave a part of the sensor empty; the field there is extrapolated.'),
    'field-sharpness.crowded': ('caution', 'Most stars were left out, since others lie within the circle that counts as the whole star.'),
    'field-sharpness.few-stars': ('caution', "So few stars that the field's shape rests on each of them."),
    'field-sharpness.method': ('info', 'What the smooth field and its uncertainties rest on.'),
    'field-sharpness.not-smooth': ('caution', 'Sizes scatter about the smooth field by more than their uncertainties.'),
    'field-sharpness.pattern-unlike': ('caution', 'None of the causes looked for describes the field; none is called present or absent.'),
    'field-sharpness.seeing-not-given': ('info', 'Without the seeing, what is left for the optics cannot be told from the air.'),
    'field-sharpness.side-not-told': ('info', 'One frame cannot tell on which side of focus a blurred part of the sensor lies.'),
    'field-sharpness.trailing': ('caution', 'All stars are drawn out in one direction, which is no property of the field.'),
    'field-sharpness.undersampled': ('caution', 'Stars are as small as the pixels, so their width is that of the pixels as much as theirs.'),
    'focus-surface.aberrations': ('caution', 'Coma and astigmatism together move the place where stars are smallest.'),
    'focus-surface.backlash': ('caution', 'The focuser stands elsewhere when it comes from the other side.'),
    'focus-surface.blur-growth': ('doubt', 'Stars grow otherwise with the focuser than the focal ratio says: positions or focal ratio are wrong.'),
    'focus-surface.corners-empty': ('caution', 'Stars leave a part of the sensor empty; the surface there is extrapolated.'),
    'focus-surface.few-stars': ('caution', 'So few stars that the shape of the surface rests on each of them.'),
    'focus-surface.frame-left-out': ('caution', 'The stars of a frame could not be found again in the others.'),
    'focus-surface.method': ('info', 'What the surface and its uncertainties rest on.'),
    'focus-surface.not-smooth': ('caution', "The stars' own best focus departs from a tilted bowl by more than their uncertainties."),
    'focus-surface.one-sided': ('doubt', 'The best focus in the middle of the sensor lies outside the run.'),
    'focus-surface.other-blur': ('info', "A frame's blur without defocus differs clearly from that of the others."),
    'focus-surface.run-too-short': ('caution', 'The best focus of a part of the sensor lies outside the run.'),
    'frame.bayer-contradicts': ('caution', 'The color mosaic that the header states does not fit the pixels: the two greens lie elsewhere.'),
    'frame.bayer-unchecked': ('info', 'The pixels are too even to check the color mosaic that the header states.'),
    'frame.constant': ('doubt', 'All pixels of the image have the same value.'),
    'frame.distortion-unnamed': ('info', 'The header holds a distortion polynomial that its CTYPE does not name; it was used.'),
    'frame.electrons': ('info', 'The pixels are in electrons: one adu of the results is one electron.'),
    'frame.extra-bytes': ('caution', 'The file is longer than its header says; the sizes in the header may be wrong.'),
    'frame.fact-contradictory': ('caution', 'Two cards of the header contradict each other; the text says which one was used.'),
    'frame.fact-invalid': ('caution', 'A card holds a value that cannot be true or read, and was not used.'),
    'frame.facts-missing': ('info', 'The header does not give some facts of the camera; what depends on them is not computed.'),
    'frame.gain-assumed': ('caution', 'The card GAIN does not say its unit and was taken as electrons per ADU; a flat and bias pair would check it.'),
    'frame.gain-setting': ('info', 'The card GAIN is a setting of the camera, not electrons per ADU, and was not used as such.'),
    'frame.header-broken': ('info', 'Some cards of the header do not follow the FITS standard; they were passed over.'),
    'frame.looks-mosaic': ('caution', 'The pixels look like a raw color mosaic, but the header does not say so.'),
    'frame.mostly-saturated': ('doubt', 'More than a twentieth of the pixels are saturated.'),
    'frame.not-finite': ('caution', 'Some pixels hold no number (NaN, infinity or BLANK) and are treated as masked.'),
    'frame.object-doubtful': ('caution', 'What the header says was photographed does not fit the pixels.'),
    'frame.pitch-binned': ('caution', 'The image is binned and the header does not prove whether the pixel size given includes the binning.'),
    'frame.pixels-oblong': ('caution', 'Pixel size or binning differ between x and y; shapes and scales in y are off by that ratio.'),
    'frame.plane-taken': ('info', 'The image has more than two axes; the text says which plane was taken.'),
    'frame.saturation-contradicts': ('caution', 'Pixels pile up below the saturation level that was stated; the lower level was used.'),
    'frame.saturation-found': ('info', 'The saturation level was found from the data, where pixels pile up at one value.'),
    'frame.several-images': ('info', 'The file holds several images; the text says which one was taken.'),
    'frame.uncertainty-ignored': ('info', 'The uncertainty that came with the image is not used; the noise is measured or computed from gain and read noise.'),
    'frame.unit-unknown': ('caution', 'The unit of the pixels is neither ADU nor electrons; they were taken as ADU.'),
    'frame.wcs-unusable': ('info', "The header's celestial coordinates cannot be used."),
    'lateral-color.air-does-not-explain': ('caution', 'The constant offset is not what dispersion of the air makes.'),
    'lateral-color.air-explains': ('info', 'Dispersion of the air explains the constant offset.'),
    'lateral-color.air-mixed': ('info', 'The constant offset holds dispersion of the air and what the telescope adds; not told apart.'),
    'lateral-color.color-left-out': ('caution', 'The stars of a color could not be found again in the reference.'),
    'lateral-color.corners-empty': ('caution', 'Stars leave the corners of the sensor empty; lateral color there is extrapolated.'),
    'lateral-color.few-stars': ('doubt', 'So few stars that a difference of scale is all that they tell.'),
    'lateral-color.method': ('info', 'What the offsets and their uncertainties rest on.'),
    'lateral-color.moved': ('info', "Frames taken one after the other: shift and turn are the mount's, scale holds a change of focus and refraction."),
    'lateral-color.refocused': ('doubt', 'The focuser moved between the frames, which changes the scale.'),
    'lateral-color.scatter': ('caution', 'Stars scatter by more than their uncertainties say.'),
    'lateral-color.turned': ('doubt', 'Colors of one exposure are turned against each other, which optics do not do.'),
    'night-conditions.cooling': ('info', 'Whether focus comes to rest exponentially, as a cooling tube does.'),
    'night-conditions.doubtful-frame': ('caution', 'A frame that is no field of stars was left out.'),
    'night-conditions.falling': ('info', 'Stars shrink through the night by more than the wandering of the air explains.'),
    'night-conditions.few-frames': ('caution', 'Too few frames, or too short a time, to tell a trend.'),
    'night-conditions.few-stars': ('caution', 'Frames with too few clean stars were left out.'),
    'night-conditions.focus-drifts': ('info', 'Best focus moves with time or temperature.'),
    'night-conditions.focus-followed': ('info', 'The focuser moved between most frames; its places are no refocusings.'),
    'night-conditions.focus-held': ('info', 'Refocusing does not make the stars smaller by more than the uncertainty.'),
    'night-conditions.focus-unseen': ('info', 'The focuser was not moved: sizes alone do not tell a drifting focus from worse air.'),
    'night-conditions.method': ('info', 'How widths were reduced and what the bars hold.'),
    'night-conditions.mixed': ('doubt', 'Frames of several filters, cameras or telescopes: their widths are not alike.'),
    'night-conditions.no-airmass': ('caution', 'Airmass not known: widths are not reduced to the zenith, or frames were left out.'),
    'night-conditions.no-time': ('caution', 'Frames without a time were left out.'),
    'night-conditions.not-air-alone': ('info', 'Optics, focus and mount are in every width: what the air did is at most that.'),
    'night-conditions.not-resolved': ('caution', "Stars hardly wider than the telescope's diffraction: the air's share is not told."),
    'night-conditions.refocus-helps': ('caution', 'Stars grow between refocusings and shrink with each: focus drifts.'),
    'night-conditions.rising': ('caution', 'Stars grow through the night by more than the wandering of the air explains.'),
    'night-conditions.several-fields': ('info', 'Frames of several fields.'),
    'night-conditions.several-nights': ('doubt', 'The frames are not of one night.'),
    'night-conditions.short-exposures': ('info', 'Exposures so short that image motion is not averaged.'),
    'night-conditions.trailed': ('caution', 'Frames whose stars are all drawn out alike.'),
    'night-conditions.undersampled': ('caution', 'Stars hardly wider than the pixels: their widths are less sure.'),
    'night-conditions.wavelength-assumed': ('info', 'The wavelength is not known; 550 nm was taken.'),
    'night-conditions.with-diffraction': ('info', "The aperture is not known: the telescope's diffraction is still in the reduced widths."),
    'plate-scale.corners-empty': ('caution', 'No star near the corners; distortion there is extrapolated.'),
    'plate-scale.few-stars': ('caution', 'So few stars that not every order of the distortion could be fitted.'),
    'plate-scale.from-list': ('info', 'The geometry comes from a list of stars with known sky positions.'),
    'plate-scale.from-solution': ('caution', "The geometry comes from the frame's celestial solution, whose own uncertainty is not known."),
    'plate-scale.many-wrong-matches': ('caution', 'More than a fifth of the stars were left out as wrong matches.'),
    'plate-scale.no-distortion': ('caution', 'Too few stars, or too near to the center, to tell distortion from focal length.'),
    'plate-scale.not-radial': ('caution', 'The celestial solution bends the field otherwise than the distortion of a lens.'),
    'plate-scale.not-square': ('caution', 'The scale differs with the direction by more than its uncertainty.'),
    'plate-scale.pitch-nominal': ('info', 'The pixel pitch is nominal and taken as known to 0.1 %.'),
    'plate-scale.refraction': ('info', 'Refraction by the air shrinks the field by 0.03 to 0.07 %; 0.05 % is in the common part of the uncertainty.'),
    'plate-scale.scatter': ('info', 'Stars scatter by more than their own uncertainties; the difference was added to them.'),
    'plate-scale.wrong-matches': ('info', 'Some stars do not stand where their sky positions put them; they were left out.'),
    'reflections.apart': ('doubt', 'No circle lies inside another.'),
    'reflections.beside': ('doubt', 'Two edges blur into each other.'),
    'reflections.blurred': ('doubt', 'A circle is out of focus or shaken beside its size.'),
    'reflections.caution': ('info', 'What to know before looking in and before screws are turned.'),
    'reflections.clipped': ('caution', 'Where the light is clipped the edge was left out.'),
    'reflections.clipped-most': ('doubt', 'Most of an edge is clipped.'),
    'reflections.distortion': ('info', "The distortion of the camera's lens is not known; the bars hold it."),
    'reflections.field': ('info', "The camera's angle of view is not known; the bars hold what perspective may do."),
    'reflections.geometry': ('info', 'What the tilts rest on.'),
    'reflections.method': ('info', 'What middles and uncertainties rest on.'),
    'reflections.not-round': ('doubt', 'An outline is neither a circle nor an ellipse.'),
    'reflections.oblique': ('doubt', 'A circle is seen strongly from the side.'),
    'reflections.one-circle': ('doubt', 'One circle has nothing to be out of the middle of.'),
    'reflections.part': ('caution', 'Part of a circle is hidden, too faint or outside the photo.'),
    'reflections.role-apart': ('doubt', 'A circle that was named does not lie inside the other, or is not the kind that it is called.'),
    'reflections.roles': ('info', 'It was not said which circle is what.'),
    'reflections.slanted': ('caution', 'A circle is seen from the side; the bars hold what that may do.'),
    'reflections.soft': ('caution', 'A circle is soft beside its size.'),
    'relative-illumination.beside': ('caution', 'What clips is centered beside the middle of the sensor.'),
    'relative-illumination.corner-departs': ('doubt', 'A corner gets clearly more or less light than the fit says.'),
    'relative-illumination.distance-unsure': ('info', 'The frame does not show how far from the sensor the stop stands.'),
    'relative-illumination.dust': ('info', 'Cells that wide shadows of dust reach took no part in the fit.'),
    'relative-illumination.dust-rings': ('info', 'What the distances of dust before the sensor rest on.'),
    'relative-illumination.extrapolated': ('info', "An image circle lies beyond the frame's corners."),
    'relative-illumination.method': ('info', 'What the illumination and its uncertainties rest on.'),
    'relative-illumination.no-bias': ('doubt', 'The level without light is not known; left in, it makes the field look more even.'),
    'relative-illumination.no-clipping': ('info', 'No stop that cuts the cone of light is seen within the frame.'),
    'relative-illumination.not-two-circles': ('caution', 'The light falls off otherwise than behind one round stop.'),
    'relative-illumination.slope': ('caution', 'The light falls off to one side; a slope of the light source cannot be told from the telescope by one flat.'),
    'simulation.coarse-grid': ('caution', 'Star images were computed at field points more than half a wave of defocus apart and blended between them.'),
    'simulation.half-cut': ('caution', "Stars whose pupil a stop cuts past its middle were dimmed, but drawn with the whole pupil's image."),
    'simulation.light-outside': ('caution', 'Stars were drawn in stamps that leave out more than 3 % of their light.'),
    'spacing.astigmatism': ('info', 'The distance flattens the mean surface; blur of the corners that focus does not cure stays.'),
    'spacing.astigmatism-left': ('caution', 'A flat distance would leave astigmatism in the corners: it may not be the distance alone.'),
    'spacing.corrector-unknown': ('doubt', 'One distance does not tell the direction without knowledge of the corrector.'),
    'spacing.doubtful-run': ('doubt', 'The focus run at one distance must not decide.'),
    'spacing.extrapolated': ('caution', 'The best distance lies outside those tried, though near to them.'),
    'spacing.far-outside': ('doubt', 'The best distance lies far outside those tried; only the direction is told.'),
    'spacing.focus-and-scale': ('info', 'A change of the distance moves the focus and changes the scale.'),
    'spacing.method': ('info', 'What the best distance and its uncertainty rest on.'),
    'spacing.not-straight': ('caution', 'The sag does not follow a straight line; a parabola is used.'),
    'spacing.not-told': ('doubt', 'The sag does not tell the best distance.'),
    'spacing.one-distance': ('caution', 'From one distance the answer rests on what was stated of the corrector.'),
    'spacing.run': ('caution', 'What is to be said of the focus run at one distance.'),
    'spacing.scatter': ('caution', 'The runs scatter about the fit by more than their uncertainties.'),
    'spacing.shapes-agree': ('info', 'The astigmatism of the corners tells the same direction as the sag.'),
    'spacing.shapes-contradict': ('doubt', 'The astigmatism of the corners contradicts the sag: not a wrong distance alone.'),
    'spacing.slope-differs': ('caution', 'The runs show another slope than was stated.'),
    'spacing.two-distances': ('caution', 'From two distances it cannot be seen whether the sag follows a straight line.'),
    'stars.correlated-noise': ('info', 'Neighboring pixels share their noise (resampled or color-interpolated frame); the threshold was raised accordingly.'),
    'stars.cosmic-rays': ('info', 'Objects sharper than the optics can draw were flagged.'),
    'stars.crowded': ('caution', 'A large share of the stars overlap.'),
    'stars.extended': ('info', 'Objects clearly larger than the stars around them were flagged.'),
    'stars.flat-topped': ('caution', 'Stars are out of focus: flat-topped, so that no Moffat profile gives their width; that of their own profile is quoted.'),
    'stars.gain-unknown': ('caution', 'The gain is not known; it was estimated from the stars, or their own photon noise is not in their uncertainties.'),
    'stars.large': ('caution', 'The stars are so large that their outer circle was cut.'),
    'stars.no-one-size': ('doubt', 'Few of the bright objects share one size: it is not sure which of them are the stars.'),
    'stars.not-a-field': ('doubt', 'The objects are not those of a star field: a flat, spectra, a lamp, trailed stars, or the step at a dark rim.'),
    'stars.not-linear': ('doubt', 'Sizes follow brightness: the frame is no linear image.'),
    'stars.saturated': ('info', 'Some stars are clipped; they are flagged and left out of the summary.'),
    'stars.saturation-unknown': ('info', 'The saturation level is not known; clipped stars are told by their flat tops only.'),
    'stars.structured-sky': ('doubt', 'The sky has structure of the size of the stars that could not be told from them.'),
    'stars.too-few': ('caution', 'Too few clean stars for a statement about the field.'),
    'stars.undersampled': ('caution', 'The usual star is narrower than 1.5 pixels (FWHM): its size is ruled by the pixels.'),
    'wavefront-field.coma-free': ('info', 'Why the place without coma is not told.'),
    'wavefront-field.corners-empty': ('caution', 'Stars leave a part of the sensor empty; what is said of it is extrapolated.'),
    'wavefront-field.few-stars': ('caution', 'So few stars that the laws over the field rest on each of them.'),
    'wavefront-field.flexure': ('caution', 'The sensor tilted between the two frames.'),
    'wavefront-field.left-out': ('info', 'Stars that were not fitted, and why.'),
    'wavefront-field.little-defocus': ('caution', 'So little defocus that the modes are told apart badly.'),
    'wavefront-field.method': ('info', 'What the laws over the field and their uncertainties rest on.'),
    'wavefront-field.misfit': ('caution', 'The model does not describe the discs within their noise.'),
    'wavefront-field.misfit-large': ('doubt', 'The model does not describe the discs.'),
    'wavefront-field.mostly-unfit': ('caution', 'Most stars are cut, clipped or overlapped by others.'),
    'wavefront-field.not-paraboloid': ('caution', 'Coma does not grow over the field as that of a single paraboloid.'),
    'wavefront-field.not-smooth': ('caution', 'The stars scatter about the laws far more than their photons.'),
    'wavefront-field.vignetted': ('caution', 'The discs fit worse towards the corners, as cut pupils do.'),
    'wavefront.bias-in': ('info', 'The bias is still in the image; it is fitted with the background and changes nothing here.'),
    'wavefront.binning-contradicts': ('doubt', "The frames' binning and pixel pitch contradict each other."),
    'wavefront.changed-little': ('info', 'The wavefront changed through the pairs by less than matters for its RMS.'),
    'wavefront.changing': ('doubt', 'The wavefront changed through the pairs by more than the uncertainty of its RMS: their mean is no state of the telescope.'),
    'wavefront.clipped': ('caution', 'Pixels at the saturation level were left out; the light they hid is not in the fit.'),
    'wavefront.companion': ('caution', 'A second star overlaps the disc; its light was modelled and taken out.'),
    'wavefront.distance-contradicts': ('doubt', 'The size of the discs contradicts the stated distances from focus: focal ratio, pitch or distance is wrong.'),
    'wavefront.exchanged': ('caution', 'Focuser positions or file names say that the inside and the outside image may be exchanged, which the images cannot show: it turns the sign of spherical aberration and astigmatism.'),
    'wavefront.exposure-short': ('caution', 'The exposure is too short to average the seeing.'),
    'wavefront.exposure-unknown': ('info', 'The exposure time is not known; the bars hold what turbulence leaves in a short one.'),
    'wavefront.focuser-contradicts': ('doubt', 'The way of the focuser between the images contradicts the size of the discs.'),
    'wavefront.gain-doubtful': ('caution', 'The noise of the images contradicts the stated gain; it may be a camera setting instead of electrons per ADU.'),
    'wavefront.header-differs': ('doubt', 'The header states another aperture, focal length or wavelength than the call.'),
    'wavefront.hole': ('doubt', 'The discs show a central hole that the declared obstruction does not explain.'),
    'wavefront.image-turned': ('doubt', 'The images of a pair fit each other better when one is turned or mirrored.'),
    'wavefront.images-differ': ('doubt', 'The two images show wavefronts that differ by more than noise and air: the result is their mean.'),
    'wavefront.little-defocus': ('caution', 'The disc is only a few waves out of focus; seeing and aberration are hard to tell apart.'),
    'wavefront.methods-disagree': ('doubt', 'The fit and the independent linear method differ by more than their bars: not decided.'),
    'wavefront.misfit': ('caution', 'The model misses the images by more than the noise; the bars have been widened for it.'),
    'wavefront.misfit-large': ('doubt', 'The model is far from the images: something about telescope, light or images is not as declared.'),
    'wavefront.more-modes': ('caution', "The finest modes allowed still hold an amount that shows beside the map's bar; finer ones are not in the RMS."),
    'wavefront.no-second-opinion': ('info', 'The independent linear method could not be applied to these images.'),
    'wavefront.not-one-pair': ('doubt', 'The images of an entry were taken hours apart or with different cameras or filters: they need not show one wavefront.'),
    'wavefront.obstruction-contradicts': ('doubt', 'The discs fit another central obstruction than stated.'),
    'wavefront.one-side': ('doubt', 'The headers put the focuser at the same place for both images of a pair: they may lie on one side of focus.'),
    'wavefront.pairs-scatter': ('caution', 'The pairs differ from each other by more than their bars; the bars have been widened to the scatter.'),
    'wavefront.scale-contradicts': ('doubt', 'The rings in the discs fit another pixel pitch, focal length, aperture or wavelength than stated.'),
    'wavefront.seeing-changed': ('info', 'Seeing differed between the two images and was fitted for each.'),
    'wavefront.shadow-off-center': ('info', "The secondary's shadow does not stand in the middle of the pupil; its place was fitted."),
    'wavefront.star-cut': ('caution', 'Part of the disc lies outside the frame.'),
    'wavefront.trailed': ('caution', 'An image is blurred more along one direction than across it; that was taken off.'),
    'wavefront.uneven-response': ('caution', "The camera's response differs across the star's disc, as without a flat field; it was taken off."),
    'wavefront.unsteady': ('caution', 'Astigmatism and coma change from pair to pair by more than photons and seeing leave: air in or before the tube.'),
    'wavefront.vanes-found': ('caution', 'The images show vanes that were not stated; they were fitted.'),
    'wavefront.wild-pixels': ('info', 'Hot pixels or particle hits were masked.'),
    'wavelength.extrapolated': ('caution', 'The lines cover part of the frame; wavelengths beyond them are extrapolated.'),
    'wavelength.few-lines': ('caution', 'The wavelength solution rests on few lines.'),
    'wavelength.from-star': ('info', "Wavelengths come from the star's own lines."),
    'wavelength.lines-left-over': ('caution', 'Strong lines of the lamp are on no list that was named.'),
}

#: Numbers that a claim can be about, by name.
QUANTITIES: dict[str, QuantityKind] = {
    'decentre': QuantityKind('decentre', 'decentre of the rings by coma, as a share of the blur radius', '', 'alignment', 0, None, False, 'Take a bright star out of focus in the middle of the field, on both sides of focus, and list it under [[alignment]].'),
    'alignment_coma': QuantityKind('alignment_coma', 'coma by the rings of a defocused star, RMS by circle polynomials', 'nm', 'alignment', 0, None, False, 'Take a bright star out of focus in the middle of the field, on both sides of focus, and list it under [[alignment]].'),
    'in_focus_fraction': QuantityKind('in_focus_fraction', 'in-focus fraction of the light', '', 'color_focus', 0, 1, True, 'Take the spectrum of an A, F or G star and list it under [[color_focus]].'),
    'polychromatic_strehl': QuantityKind('polychromatic_strehl', 'polychromatic Strehl ratio of the color focus alone', '', 'color_focus', 0, 1, True, 'Take the spectrum of an A, F or G star and list it under [[color_focus]].'),
    'focus_range': QuantityKind('focus_range', 'range of the color focus curve', 'um', 'color_focus', 0, None, False, 'Take the spectrum of an A, F or G star and list it under [[color_focus]].'),
    'coma_free_distance': QuantityKind('coma_free_distance', 'distance of the coma-free axis from the middle of the sensor', 'um', 'coma_axis', 0, None, False, 'Take three or more bright stars out of focus at different places of the sensor, in one frame or pair, and list it under [[coma_axis]].'),
    'edge_width': QuantityKind('edge_width', 'width of an edge from 10 to 90 %', 'um', 'edge_contrast', 0, None, False, "Photograph the Moon's sunlit limb or a straight bright edge a few degrees off the rows of pixels, unclipped, and list it under [[edge_contrast]]."),
    'mtf50': QuantityKind('mtf50', 'frequency at which half of the contrast is left, pixel taken out', '1 / mm', 'edge_contrast', 0, None, True, "Photograph the Moon's sunlit limb or a straight bright edge a few degrees off the rows of pixels, unclipped, and list it under [[edge_contrast]]."),
    'edge_glare': QuantityKind('edge_glare', 'light in the dark beside a bright edge', '', 'edge_contrast', 0, 1, False, "Photograph the Moon's sunlit limb or a bright edge, unclipped, and list it under [[edge_contrast]] with bias_level."),
    'glare_index': QuantityKind('glare_index', 'veiling glare index', '', 'edge_contrast', 0, 1, False, 'Photograph a small black patch, a box lined with black with a round hole, in the middle of a bright even field that fills the view and more, and list it under [[edge_contrast]] with bias_level.'),
    'corner_fwhm': QuantityKind('corner_fwhm', 'FWHM in the corners of the frame', 'um', 'field_sharpness', 0, None, False, 'Take one rich, well-focused star field and list it under [[field_sharpness]].'),
    'corner_fwhm_on_sky': QuantityKind('corner_fwhm_on_sky', 'FWHM in the corners of the frame, on the sky', 'arcsec', 'field_sharpness', 0, None, False, 'Take one rich, well-focused star field and list it under [[field_sharpness]]. The focal length or a celestial solution must be known.'),
    'corner_to_center': QuantityKind('corner_to_center', 'FWHM in the corners over that in the middle', '', 'field_sharpness', 0, None, False, 'Take one rich, well-focused star field and list it under [[field_sharpness]].'),
    'corner_ellipticity': QuantityKind('corner_ellipticity', 'ellipticity in the corners of the frame', '', 'field_sharpness', 0, 1, False, 'Take one rich, well-focused star field and list it under [[field_sharpness]].'),
    'sharp_circle': QuantityKind('sharp_circle', 'diameter of the circle within which stars stay sharp', 'mm', 'field_sharpness', 0, None, True, 'Take one rich, well-focused star field and list it under [[field_sharpness]].'),
    'sensor_tilt': QuantityKind('sensor_tilt', 'tilt of the sensor, from corner to corner', 'um', 'focus_surface', 0, None, False, 'Take a rich star field at five or more focuser positions on both sides of focus and list the frames under [[focus_surface]].'),
    'curvature_sag': QuantityKind('curvature_sag', 'field curvature, focus of the corner less that of the middle', 'um', 'focus_surface', None, None, None, 'Take a rich star field at five or more focuser positions on both sides of focus and list the frames under [[focus_surface]].'),
    'focus_spread': QuantityKind('focus_spread', 'best focus over the sensor, largest less least', 'um', 'focus_surface', 0, None, False, 'Take a rich star field at five or more focuser positions on both sides of focus and list the frames under [[focus_surface]].'),
    'astigmatic_split': QuantityKind('astigmatic_split', 'tangential less sagittal focus at the corners', 'um', 'focus_surface', None, None, None, 'Take a rich star field at five or more focuser positions on both sides of focus and list the frames under [[focus_surface]].'),
    'lateral_color': QuantityKind('lateral_color', 'lateral color at the corners of the sensor', 'um', 'lateral_color', 0, None, False, 'Take a rich star field with a color camera, or one frame a filter, and list it under [[lateral_color]].'),
    'lateral_color_angle': QuantityKind('lateral_color_angle', 'lateral color at the corners of the sensor, on the sky', 'arcsec', 'lateral_color', 0, None, False, 'Take a rich star field with a color camera, or one frame a filter, and list it under [[lateral_color]].'),
    'zenith_fwhm': QuantityKind('zenith_fwhm', 'FWHM of the night, reduced to the zenith and 500 nm', 'arcsec', 'night_conditions', 0, None, False, 'Take star frames through the night and list them under [[night_conditions]].'),
    'best_fwhm': QuantityKind('best_fwhm', "FWHM of the night's best frames", 'arcsec', 'night_conditions', 0, None, False, 'Take star frames through the night and list them under [[night_conditions]].'),
    'focal_length': QuantityKind('focal_length', 'focal length', 'mm', 'plate_scale', 0, None, None, 'Take a star field, solve it (or list sky positions of its stars), and list it under [[plate_scale]].'),
    'reducer_factor': QuantityKind('reducer_factor', 'reducer factor', '', 'plate_scale', 0, None, None, 'Take a star field, solve it (or list sky positions of its stars), and list it under [[plate_scale]]. Give nominal_focal_length with it.'),
    'focal_ratio': QuantityKind('focal_ratio', 'focal ratio', '', 'plate_scale', 0, None, None, 'Take a star field, solve it (or list sky positions of its stars), and list it under [[plate_scale]]. Give the aperture with it.'),
    'distortion_edge': QuantityKind('distortion_edge', 'distortion at the corner of the frame', '%', 'plate_scale', -100, 1000, None, 'Take a star field, solve it (or list sky positions of its stars), and list it under [[plate_scale]].'),
    'field_of_view_diagonal': QuantityKind('field_of_view_diagonal', 'diagonal field of view', 'deg', 'plate_scale', 0, 180, None, 'Take a star field, solve it (or list sky positions of its stars), and list it under [[plate_scale]].'),
    'spot_offset': QuantityKind('spot_offset', "dark spot out of the middle of the objective's edge, as a share of its radius", '', 'reflections', 0, None, False, 'Photograph the reflections through a sighting eyepiece and list the photo under [[reflections]] with objective and spot.'),
    'axis_tilt': QuantityKind('axis_tilt', "tilt of the focuser's axis against the objective's axis", 'arcmin', 'reflections', 0, None, False, 'Photograph the reflections through a sighting eyepiece and list the photo under [[reflections]] with objective, spot, sight and the distances.'),
    'corner_illumination': QuantityKind('corner_illumination', 'relative illumination of the darkest corner', '', 'relative_illumination', 0, 1.5, True, 'Take a flat field or twilight sky with the telescope as it is used, unclipped, and list it under [[relative_illumination]] with its bias.'),
    'image_circle90': QuantityKind('image_circle90', 'image circle with 90 % of the light', 'mm', 'relative_illumination', 0, None, True, 'Take a flat field or twilight sky with the telescope as it is used, unclipped, and list it under [[relative_illumination]] with its bias.'),
    'image_circle50': QuantityKind('image_circle50', 'image circle with half of the light', 'mm', 'relative_illumination', 0, None, True, 'Take a flat field or twilight sky with the telescope as it is used, unclipped, and list it under [[relative_illumination]] with its bias.'),
    'best_spacing': QuantityKind('best_spacing', 'distance between reducer or flattener and sensor for a flat field', 'mm', 'spacing', None, None, None, 'Take a focus run at three or more distances between reducer or flattener and sensor and list the frames under [[spacing]].'),
    'spacing_change': QuantityKind('spacing_change', 'what to add to the distance between reducer or flattener and sensor', 'mm', 'spacing', None, None, None, 'Take a focus run at three or more distances between reducer or flattener and sensor and list the frames under [[spacing]].'),
    'star_fwhm': QuantityKind('star_fwhm', 'star FWHM, median', 'arcsec', 'stars', 0, None, False, 'Take a well-focused star field and list it under [[stars]].'),
    'star_hfr': QuantityKind('star_hfr', 'half-flux radius, median', 'arcsec', 'stars', 0, None, False, 'Take a well-focused star field and list it under [[stars]].'),
    'star_ellipticity': QuantityKind('star_ellipticity', 'star ellipticity, typical', '', 'stars', 0, 1, False, 'Take a well-focused star field and list it under [[stars]].'),
    'corner_ratio': QuantityKind('corner_ratio', 'half-flux radius, edge over center', '', 'stars', 0, None, False, 'Take a well-focused star field and list it under [[stars]].'),
    'strehl': QuantityKind('strehl', 'Strehl ratio', '', 'wavefront', 0, 1, True, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'wavefront_rms': QuantityKind('wavefront_rms', 'wavefront error, RMS', 'nm', 'wavefront', 0, None, False, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'wavefront_pv': QuantityKind('wavefront_pv', 'wavefront error, PV', 'nm', 'wavefront', 0, None, False, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'spherical': QuantityKind('spherical', 'spherical aberration, RMS by circle polynomials', 'nm', 'wavefront', 0, None, False, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'spherical_annular': QuantityKind('spherical_annular', 'spherical aberration, RMS by annular polynomials', 'nm', 'wavefront', 0, None, False, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'coma': QuantityKind('coma', 'coma, RMS by circle polynomials', 'nm', 'wavefront', 0, None, False, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'coma_annular': QuantityKind('coma_annular', 'coma, RMS by annular polynomials', 'nm', 'wavefront', 0, None, False, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'astigmatism': QuantityKind('astigmatism', 'astigmatism, RMS by circle polynomials', 'nm', 'wavefront', 0, None, False, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'astigmatism_annular': QuantityKind('astigmatism_annular', 'astigmatism, RMS by annular polynomials', 'nm', 'wavefront', 0, None, False, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'seeing': QuantityKind('seeing', 'seeing, FWHM', 'arcsec', 'wavefront', 0, None, False, 'Take a bright star inside and outside focus through a narrow filter and list it under [[wavefront]].'),
    'field_sensor_tilt': QuantityKind('field_sensor_tilt', 'tilt of the sensor by a defocused pair, from corner to corner', 'um', 'wavefront_field', 0, None, False, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
    'field_curvature_sag': QuantityKind('field_curvature_sag', 'field curvature by a defocused pair, focus of the corner less that of the middle', 'um', 'wavefront_field', None, None, None, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
    'field_coma_constant': QuantityKind('field_coma_constant', 'coma in the middle of the sensor, RMS', 'nm', 'wavefront_field', 0, None, False, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
    'field_coma_linear': QuantityKind('field_coma_linear', 'coma that grows with the field, RMS at the corner', 'nm', 'wavefront_field', None, None, None, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
    'field_coma_free_distance': QuantityKind('field_coma_free_distance', 'distance of the place without coma from the middle of the sensor', 'um', 'wavefront_field', 0, None, False, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
    'field_astigmatism_constant': QuantityKind('field_astigmatism_constant', 'astigmatism in the middle of the sensor, RMS', 'nm', 'wavefront_field', 0, None, False, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
    'field_astigmatism_linear': QuantityKind('field_astigmatism_linear', 'astigmatism that grows with the field, RMS at the corner', 'nm', 'wavefront_field', 0, None, False, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
    'field_astigmatism_quadratic': QuantityKind('field_astigmatism_quadratic', 'astigmatism that grows with the squared field, RMS at the corner', 'nm', 'wavefront_field', None, None, None, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
    'field_spherical': QuantityKind('field_spherical', 'spherical aberration over the field, RMS with its sign', 'nm', 'wavefront_field', None, None, None, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
    'field_wavefront_rms': QuantityKind('field_wavefront_rms', 'wavefront error of the low modes over the whole sensor, focus included, RMS', 'nm', 'wavefront_field', 0, None, False, 'Take one rich star field 5 to 8 waves inside and outside of focus through a narrow filter and list both frames under [[wavefront_field]].'),
}

#: Flags of the columns that hold bits: column -> bit -> (name, meaning).
FLAGS: dict[str, dict[int, tuple[str, str]]] = {
    'NightConditionsResult.flags': {
        1: ('best', 'Of the fifth with the narrowest stars: measure the optics on these.'),
        2: ('trailed', 'All stars are drawn out alike, otherwise than through the night: tracking or wind.'),
        4: ('refocused', 'The focuser was moved before this frame.'),
        8: ('few stars', 'Too few clean stars; left out.'),
        16: ('no airmass', 'Airmass not known while that of others is; left out of what is reduced to the zenith.'),
    },
    'StarField.flags': {
        1: ('saturated', 'Clipped pixels: flux is too low, size too large.'),
        2: ('edge', "The circle that counts as the whole star runs over the frame's edge."),
        4: ('blended', 'Another star lies within that circle; its light was taken out as well as could be.'),
        8: ('cosmic ray', 'Sharper than the optics can draw: a cosmic-ray hit or a hot pixel.'),
        16: ('not a star', "Clearly larger than the stars around it: a galaxy, a nebula's knot, a trail or a close pair."),
        32: ('undersampled', 'FWHM below 1.5 pixels: the size is that of the pixel as much as of the star, and no shape is given.'),
        64: ('bad pixels', 'Masked or missing pixels within the circle, filled from the other side of the star.'),
        128: ('no shape', 'No stable ellipse was found; size and shape are NaN.'),
        256: ('flat-topped', 'Flat-topped: a disc or ring out of focus, or two stars in one. No Moffat profile fits it; its width is that of its own profile. Told of the stars whose profile is fitted.'),
    },
}

#: Measurements of the engine: area -> (title, task).
MEASUREMENTS: dict[str, tuple[str, str]] = {
    'alignment': ('Alignment', 'alignment.measure'),
    'color_focus': ('Color focus', 'color_focus.measure'),
    'coma_axis': ('Coma-free axis', 'coma_axis.measure'),
    'edge_contrast': ('Edge contrast', 'edge_contrast.measure'),
    'field_sharpness': ('Field sharpness', 'field_sharpness.measure'),
    'focus_surface': ('Focus surface', 'focus_surface.measure'),
    'lateral_color': ('Lateral color', 'lateral_color.measure'),
    'night_conditions': ('Night conditions', 'night_conditions.measure'),
    'plate_scale': ('Plate scale', 'plate_scale.measure'),
    'reflections': ('Reflections', 'reflections.measure'),
    'relative_illumination': ('Relative illumination', 'relative_illumination.measure'),
    'spacing': ('Spacing', 'spacing.measure'),
    'stars': ('Star field', 'stars.measure'),
    'wavefront': ('Wavefront', 'wavefront.measure'),
    'wavefront_field': ('Wavefront over the field', 'wavefront_field.measure'),
}
