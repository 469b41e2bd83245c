"""From a decoding to entry drafts, posteriors, doubts and the questions that settle them."""
