"""The ohms check of a station, the channel's certificate, and a meter beside a decade box."""
