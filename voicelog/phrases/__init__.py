"""What can be said: grammars, the phrase graph compiled from them, spoken numbers and units."""
