"""The results pages of a run: index.html and what it links to."""
