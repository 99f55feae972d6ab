"""Everything a person touches: commands, folders, pages. Computes nothing on pixels."""

__app__ = "speckwise"
