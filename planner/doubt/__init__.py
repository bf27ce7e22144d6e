"""What is not known, drawn: ranges of what a site gives and costs, before and after a pumping test."""
