"""Defects across walks: an open deficiency of a unit, from first heard to certified repair and closing."""
