"""Audio in, endpointing and the recognisers, which all meet one protocol."""
