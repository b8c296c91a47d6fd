"""What is shown: scenes without pixels, formats and their scan timing, and the standards' constants.

`areas` has the patterns themselves, `modes` the timing of any raster, `standards` every number of a document. Standard
library only.
"""
