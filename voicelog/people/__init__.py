"""The people of a station: who may do what, and the keys that they sign with."""
