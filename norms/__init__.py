"""What a score means: numbers in, statements out. Imports nothing else of this project."""
