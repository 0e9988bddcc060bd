"""The formulas: counts and days in, estimates and limits out.

Every module takes numpy arrays or plain numbers and knows no line, no child and no frame. Each states what it does with zero events, zero line-days and a single family. Results are frozen
dataclasses whose fields are arrays of the shape that came in.

Import from the modules by name.
"""
