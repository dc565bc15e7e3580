"""The register map for the plant's control system: what it reads of a running receiver, and may ask for."""
