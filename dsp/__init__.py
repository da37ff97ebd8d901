"""Measurements: arrays in, numbers out. No clock, no I/O, no threads, no Qt, no printing."""
