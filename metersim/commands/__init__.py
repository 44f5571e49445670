"""The commands, one module each: options in, files out, and the text to print.

Each has ``answer(options) -> str`` and is loaded only when it is asked for, so that it may import
what it needs at its top.  What can be typed is declared in `metersim.options`.
"""
