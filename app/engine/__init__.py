"""The engine: pulls hops from an input, runs the chain and the coach, publishes what it finds."""
