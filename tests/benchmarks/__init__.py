"""How fast, and in how much memory: ``python -m tests.benchmarks.speed --help``.

Times are ratios to a plain loop over the same durations, measured in the same process in turn with
it, so that they mean the same on any machine.
"""
