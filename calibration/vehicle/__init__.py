"""What a sender's resistance means where it works: in the vehicle, behind a computer and a gauge."""
