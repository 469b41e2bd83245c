"""Tests of the recorded walk: its script, its sound and its scoring."""
