"""What the numbers of a case say beyond themselves."""
