"""Samples, counts and agreement: what answers add up to."""
