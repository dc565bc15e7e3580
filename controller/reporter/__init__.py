"""The second process of a running station: it writes journal and audit log, and tells others."""
