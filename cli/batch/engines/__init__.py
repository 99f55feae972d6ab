"""What the scoring is done by: this process, the processors of this machine, or a cluster. All behind one `submit`."""

__app__ = "speckwise"
