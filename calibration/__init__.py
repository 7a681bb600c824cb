"""The measurement science of the bench: values in, values out."""
