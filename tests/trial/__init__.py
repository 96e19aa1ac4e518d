"""A trial of the decoder by a railway, a track and boards that share no code with the library.

``python -m tests.trial`` prints how many packets of each kind of hard capture are read right, and how many packets are
given that were not sent. :mod:`tests.trial.rows` lists the captures.
"""
