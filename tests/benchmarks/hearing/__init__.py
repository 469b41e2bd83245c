"""How well, how fast and how sure recognisers hear short commands in noise, side by side.

``python -m tests.benchmarks.hearing --help`` says how to run it; DEVELOPERS.md says what the
figures mean. The stages, each usable alone: :mod:`dataset` and :mod:`mixing` make the sound,
:mod:`worker` holds one recogniser in a process of its own, :mod:`running` feeds it and keeps the
rows, :mod:`summary` makes figures of rows, :mod:`table`, :mod:`plots` and :mod:`page` show them.
"""
