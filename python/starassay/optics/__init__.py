"""What a telescope does to light: its pupil, and what a wavefront looks like."""
