"""What is known of a number, as independent error sources."""
