"""What a routine is: counts, feet, turns."""
