"""Ohmward: finds what is wrong in a supervised smoke and CO detection loop."""
