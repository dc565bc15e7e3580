"""Random search: what nobody thought of, with rules watched, and what is found made small."""
