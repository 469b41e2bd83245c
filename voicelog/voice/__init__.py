"""Answers by ear: tones and spoken read-back. A view of updates, as the screens are; decides nothing."""
