"""Room: accuracy. How far off a drilled hole will be, and that the mechanism runs free."""
