"""Benches, figures and twins that several tests share."""
