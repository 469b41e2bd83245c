"""Tests of the walk and of what is done with it."""
