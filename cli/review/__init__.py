"""The review desk: a person answers for every flag; answers are kept for good."""
