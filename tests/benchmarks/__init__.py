"""How fast, and in how much memory: ``python -m tests.benchmarks --help``.

Times are told as ratios to a plain loop over the same durations, measured in the same process in
turn with it, so that they mean the same on any machine. A file ``rows_*.py`` in this package adds rows: see
:func:`tests.benchmarks.frame.row`.
"""
