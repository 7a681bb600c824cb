"""What a body says, as tables, bars, strips and budgets: paper and XML are both made from these."""
