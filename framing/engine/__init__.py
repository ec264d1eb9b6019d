"""The framing engine: a pure function from a survey and a build to a framing; no Django, no I/O, no clock."""
