"""The order of two fields, from a clip of the moving bar."""
