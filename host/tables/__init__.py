"""What the desk keeps as tables for other programs: CSV for spreadsheets, JSON for scripts."""
