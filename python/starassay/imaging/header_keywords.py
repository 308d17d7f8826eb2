"""The header keywords that carry what we need, in order of trust, with unit and source.

Every program names its cards a little differently. `SYNONYMS` lists, for each fact, the
keywords we understand, with the unit they are written in and where that convention is
written down.
"""

from __future__ import annotations

from typing import NamedTuple

from astropy import units as u

_FITS4 = "FITS standard 4.0"
_COMMON = "widely used, no standard"
_SBX = "amateur CCD header extension SBFITSEXT 1.0 (2003), from memory"
_ESO = "ESO Data Interface Control Document, hierarchical keywords, from memory"
_IRAF = "NOAO image header conventions, from memory"
_LT = "header of the Liverpool Telescope, as its comments state"

ELECTRON_PER_ADU = u.electron / u.adu


class Keyword(NamedTuple):
    """One keyword that may carry a fact.

    Attributes
    ----------
    name : str
        The keyword, without HIERARCH.
    unit : Unit or None
        Unit of the number when the card's comment gives none.
    source : str
        Where the convention is written down.
    """

    name: str
    unit: u.UnitBase | None
    source: str


SYNONYMS: dict[str, tuple[Keyword, ...]] = {
    "exposure": (
        Keyword("XPOSURE", u.s, f"{_FITS4}, 9.6: effective exposure"),
        Keyword("EXPTIME", u.s, "HEASARC keyword dictionary; " + _COMMON),
        Keyword("EXPOSURE", u.s, "HEASARC keyword dictionary; " + _COMMON),
        Keyword("EXP_TIME", u.s, _COMMON),
        Keyword("TELAPSE", u.s, f"{_FITS4}, 9.6: elapsed time, at least the exposure"),
    ),
    "gain": (
        Keyword("EGAIN", ELECTRON_PER_ADU, _SBX),
        Keyword("EPERDN", ELECTRON_PER_ADU, _LT),
        Keyword("ESO DET OUT1 CONAD", ELECTRON_PER_ADU, _ESO),
        Keyword("GAIN", None, "no standard: electrons per ADU or a camera setting, see `notes`"),
    ),
    "read_noise": (
        Keyword("RDNOISE", u.electron, _IRAF),
        Keyword("READNOIS", u.electron, _COMMON),
        Keyword("ENOISE", u.electron, _COMMON),
        Keyword("ESO DET OUT1 RON", u.electron, _ESO),
    ),
    "saturation": (
        Keyword("SATURATE", u.adu, _COMMON),
        Keyword("SATURATN", u.adu, _LT),
        Keyword("SATLEVEL", u.adu, _COMMON),
    ),
    "pitch": (
        Keyword("XPIXSZ", u.um, f"{_SBX}: binning included"),
        Keyword("PIXSIZE1", u.um, f"{_IRAF}: binning not included"),
        Keyword("PIXSIZE", u.um, f"{_COMMON}: binning not included"),
        Keyword("CCDXPIXE", u.m, f"{_LT}: binning not included"),
        Keyword("ESO DET CHIP1 PSZX", u.um, f"{_ESO}: binning not included"),
        Keyword("ESO DET PIXSIZE", u.m, f"{_ESO}: binning not included"),
    ),
    "pitch_y": (
        Keyword("YPIXSZ", u.um, f"{_SBX}: binning included"),
        Keyword("PIXSIZE2", u.um, f"{_IRAF}: binning not included"),
        Keyword("CCDYPIXE", u.m, f"{_LT}: binning not included"),
        Keyword("ESO DET CHIP1 PSZY", u.um, f"{_ESO}: binning not included"),
    ),
    "binning_x": (
        Keyword("XBINNING", u.one, _SBX),
        Keyword("CCDXBIN", u.one, _LT),
        Keyword("DETXBIN", u.one, _COMMON),
        Keyword("ESO DET WIN1 BINX", u.one, _ESO),
        Keyword("BINX", u.one, _COMMON),
    ),
    "binning_y": (
        Keyword("YBINNING", u.one, _SBX),
        Keyword("CCDYBIN", u.one, _LT),
        Keyword("DETYBIN", u.one, _COMMON),
        Keyword("ESO DET WIN1 BINY", u.one, _ESO),
        Keyword("BINY", u.one, _COMMON),
    ),
    "binning": (
        Keyword("CCDSUM", None, f"{_IRAF}: two numbers in one text"),
        Keyword("BINNING", None, f"{_COMMON}: one number, or two joined by x"),
    ),
    "filter": (
        Keyword("FILTER", None, "HEASARC keyword dictionary; " + _COMMON),
        Keyword("FILTER1", None, f"{_COMMON}: first wheel"),
        Keyword("FILTER2", None, f"{_COMMON}: second wheel"),
        Keyword("FILTNAME", None, _COMMON),
        Keyword("ESO INS FILT1 NAME", None, _ESO),
    ),
    "bayer": (
        Keyword("BAYERPAT", None, f"{_COMMON}: colors of the first two stored rows"),
        Keyword("BAYRPAT", None, _COMMON),
        Keyword("COLORTYP", None, _COMMON),
    ),
    "time": (
        Keyword("DATE-BEG", None, f"{_FITS4}, 9.5: start"),
        Keyword("DATE-OBS", None, f"{_FITS4}, 4.4.2 and 9.5: by habit the start"),
        Keyword("MJD-BEG", u.day, f"{_FITS4}, 9.5: start"),
        Keyword("MJD-OBS", u.day, f"{_FITS4}, 9.5: by habit the start"),
    ),
    "time_of_day": (
        Keyword("TIME-OBS", None, "HEASARC keyword dictionary"),
        Keyword("UTSTART", None, _LT),
        Keyword("UT", None, _COMMON),
        Keyword("UTC", None, _COMMON),
        Keyword("TM-START", u.s, "ESO archive: seconds since midnight"),
    ),
    "focus_position": (
        Keyword("FOCUSPOS", u.one, f"{_COMMON}: steps of the focuser"),
        Keyword("FOCPOS", u.one, f"{_COMMON}: steps of the focuser"),
        Keyword("FOCUS", u.one, f"{_COMMON}: steps of the focuser"),
        Keyword("TELFOCUS", u.one, f"{_COMMON}: steps unless the comment says otherwise"),
    ),
    "focus_step": (Keyword("FOCUSSSZ", u.um, f"{_COMMON}: size of one step"),),
    "temperature": (
        Keyword("CCD-TEMP", u.deg_C, _SBX),
        Keyword("DET-TEMP", u.deg_C, _COMMON),
        Keyword("CCDTEMP", u.deg_C, _COMMON),
    ),
    "camera": (
        Keyword("INSTRUME", None, f"{_FITS4}, 4.4.2"),
        Keyword("CAMERA", None, _COMMON),
        Keyword("DETECTOR", None, _COMMON),
    ),
    "telescope": (Keyword("TELESCOP", None, f"{_FITS4}, 4.4.2"),),
    "object": (Keyword("OBJECT", None, f"{_FITS4}, 4.4.2"),),
    "image_type": (
        Keyword("IMAGETYP", None, f"{_SBX}; {_IRAF}"),
        Keyword("OBSTYPE", None, _COMMON),
        Keyword("FRAME", None, _COMMON),
        Keyword("ESO DPR TYPE", None, _ESO),
    ),
    "data_section": (
        Keyword("DATASEC", None, f"{_IRAF}: columns and rows from 1, both ends included"),
        Keyword("TRIMSEC", None, f"{_IRAF}: the same form"),
    ),
    "bias_section": (Keyword("BIASSEC", None, f"{_IRAF}: the same form"),),
    "airmass": (
        Keyword("AIRMASS", u.one, f"{_SBX}; {_COMMON}"),
        Keyword("ESO TEL AIRM START", u.one, _ESO),
    ),
    "altitude": (
        Keyword("OBJCTALT", u.deg, _SBX),
        Keyword("CENTALT", u.deg, _COMMON),
        Keyword("ESO TEL ALT", u.deg, _ESO),
    ),
    "outside_temperature": (
        Keyword("TUBETEMP", u.deg_C, f"{_COMMON}: of the tube"),
        Keyword("FOCTEMP", u.deg_C, f"{_COMMON}: at the focuser"),
        Keyword("FOCUSTEM", u.deg_C, f"{_COMMON}: at the focuser"),
        Keyword("AMBTEMP", u.deg_C, f"{_COMMON}: of the air"),
    ),
    "site_latitude": (
        Keyword("SITELAT", u.deg, _SBX),
        Keyword("LAT-OBS", u.deg, _COMMON),
    ),
    "site_longitude": (
        Keyword("SITELONG", u.deg, f"{_SBX}: east positive"),
        Keyword("LONG-OBS", u.deg, f"{_COMMON}: east positive"),
    ),
    "right_ascension": (
        Keyword("OBJCTRA", u.hourangle, f"{_SBX}: hours, minutes, seconds"),
        Keyword("RA", u.deg, f"{_COMMON}: a text is hours, minutes, seconds"),
    ),
    "declination": (
        Keyword("OBJCTDEC", u.deg, _SBX),
        Keyword("DEC", u.deg, _COMMON),
    ),
    "unit": (Keyword("BUNIT", None, f"{_FITS4}, 4.4.2"),),
}
