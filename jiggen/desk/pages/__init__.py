"""The pages, a module for each job: what is asked for, and what is shown."""
