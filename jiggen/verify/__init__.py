"""Room: verify."""
