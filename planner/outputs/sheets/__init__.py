"""site_sheets.pdf and brief.pdf: numbers and words are made here, typst sets them; text of others stays text."""
