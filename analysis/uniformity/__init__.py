"""How light and colour change over a plain field."""
