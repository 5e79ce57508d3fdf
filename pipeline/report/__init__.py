"""The morning's sheet: one printable page for the clipboard, as HTML, as PDF, and as a table for a spreadsheet."""
