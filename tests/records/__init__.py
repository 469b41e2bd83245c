"""Tests of the record store."""
