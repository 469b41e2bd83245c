"""Limits: judgement as pure functions."""
