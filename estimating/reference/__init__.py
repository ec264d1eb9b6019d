"""Published numbers of the office's side, each once, with source, edition and status; pure tables.

Status: V = read in the source; V2 = read in a restatement; M = from memory, to be compared with a copy of the source.
"""
