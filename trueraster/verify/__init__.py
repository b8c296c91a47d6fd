"""`verify`: one file, or many of them in worker processes or on a cluster, with results that are kept."""
