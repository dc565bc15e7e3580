"""Where records go. Knows the records, not the sequence that made them."""
