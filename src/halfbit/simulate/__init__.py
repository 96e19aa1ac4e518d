"""Signals as a station sends them, and what can happen to them on the way. For tests, examples and trials."""
