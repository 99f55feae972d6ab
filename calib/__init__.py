"""Makes and checks calibrations of a light panel; imports vision only."""

__app__ = "speckwise"
