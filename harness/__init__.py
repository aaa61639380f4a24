"""The test harness around a design: the chip, the bench and the person's view."""

if __name__ != "forelight.harness":
    raise ImportError(
        "import this room as forelight.harness: a bare `import harness` would load its code a second time"
    )
