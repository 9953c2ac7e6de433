"""Export file → checked → stored → snapshot → files people send on."""
