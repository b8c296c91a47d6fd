"""What all pages share: looks, cautions, and how they are filled."""
