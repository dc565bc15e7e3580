"""What scans in real time need: the beat, how late it was, both engines, and a way out to disk and screen."""
