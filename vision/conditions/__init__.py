"""What can be wrong with a shot before anything in it is judged: one file a condition, each a pure function of the pipeline's arrays."""
