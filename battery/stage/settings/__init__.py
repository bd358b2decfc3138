"""What is kept of a person, a tablet and a clinic about look, sound and rules."""
