"""The version of engine and face: the one place where it is written."""

__version__ = "0.1.0"
