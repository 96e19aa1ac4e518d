"""Simulated station signals, and the errors of track and capture. For tests, examples and trials."""
