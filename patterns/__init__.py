"""What is shown: scenes without pixels, formats and their scan timing, and the standards' constants.

`areas` has the patterns themselves. Standard library only.
"""
