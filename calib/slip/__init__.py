"""The printed scale strip and its corner pieces: how they look, how they are drawn, how they are found in a shot."""
