"""Inputs: where samples come from."""
