"""Frames of invented instruments: demo, classroom and tests."""
