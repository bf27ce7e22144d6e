"""Equations of the field: free functions of plain numbers and arrays; they know no table and no catalogue."""
