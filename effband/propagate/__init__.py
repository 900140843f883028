"""From a `Case` to bands and rankings."""
