"""Whether this machine is ready for a walk, and what to do where it is not."""
