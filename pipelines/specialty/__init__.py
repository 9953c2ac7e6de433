"""The specialty file: its schema, its faults, its sentences, its tables."""
