"""Batches of predictions over a range of settings."""
