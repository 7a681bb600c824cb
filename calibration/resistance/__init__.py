"""From converter counts to a zero-power resistance, checked against known resistors."""
