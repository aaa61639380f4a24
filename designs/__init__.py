"""Holds the contributed designs and knows how to read one."""

if __name__ != "forelight.designs":
    raise ImportError("import this room as forelight.designs: a bare `import designs` would load its code a second time")
