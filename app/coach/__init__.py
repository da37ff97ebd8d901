"""The coach: readings to verdicts and advice."""
