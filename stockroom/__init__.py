"""stockroom: cold procedure kits in a practice, from the fridge log to the weekly order.

The floors, each importing only from those below it (a machine holds this: see pyproject.toml):

    cli      5  parses, calls one job, shows what came back; the one error door and the one clock
    pages    4  a report -> the JSON answer, a printable page
    tasks    3  one job a person does per file: read, compute, append, return a report
    formats  2  outside text <-> values; opens nothing        store  2  the only place that knows the database
    core     1  pure: values in, values out; no clock, file, database, screen or chance
    errors   0  what went wrong, which value, what to do

Instants are whole seconds since 1970-01-01 UTC (``int``), local days are ``datetime.date``, temperatures are
whole thousandths of a degree Celsius (``int``), quantities are whole pieces.
"""

__version__ = "0.1.0"
