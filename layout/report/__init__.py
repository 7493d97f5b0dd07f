"""What a person gets to see: tables, figures, the page, and files written whole or not at all."""
