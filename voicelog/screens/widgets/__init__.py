"""The parts of the walk screen: each shows what it is given and decides nothing."""
