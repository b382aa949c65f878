"""Heavy numbers, computed in the worker process: values in, values out."""
