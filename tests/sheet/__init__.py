"""Tests of check sheets, lexicon and units."""
