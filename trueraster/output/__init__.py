"""How answers reach their reader: terminal, text, JSON and pages."""
