"""Papers from a snapshot: their words, their HTML, their files."""
