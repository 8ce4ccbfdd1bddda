"""An evening of dances: which song with which routine, in which order, and why."""
