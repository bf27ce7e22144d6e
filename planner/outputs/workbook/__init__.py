"""programme.xlsx: the workbook of a run, for the programme office."""
