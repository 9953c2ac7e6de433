"""How a source writes what the format calls otherwise: its headers, its words, confirmed by a person."""
