"""What one printer does to a part, measured on its gauge or a finished jig; how to undo it."""
