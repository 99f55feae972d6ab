"""Scoring whole folders."""
