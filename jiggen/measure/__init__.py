"""Room: measure. What caliper readings say: of a plate's holes, of a printer, of a finished jig."""
