"""The shipped ranker: drawn.json, learned on drawn scenes alone (`python -m vision.train`)."""
