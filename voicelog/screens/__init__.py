"""Textual screens and their plain twins: views of the state, which decide nothing."""
