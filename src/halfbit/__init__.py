"""Decodes the digital track signal of model railways."""
