"""The inspection as a state machine: what happens when something is heard."""
