"""The take log."""
