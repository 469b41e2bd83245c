"""Hands-free inspection logging: speak each point, be heard offline, never turn a doubt into a pass."""

__version__ = "0.1.0"
