"""The command; see ``--help``."""

from tests.benchmarks.hearing.command import main

main()
