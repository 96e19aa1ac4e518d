"""Drawings, with matplotlib (the extra ``plot``)."""
