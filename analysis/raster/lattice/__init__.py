"""The shown lines or dots in a photograph: which they are, and where each gun draws them."""
